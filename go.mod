module onetrip

go 1.26
