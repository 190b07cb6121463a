package catalog

import (
	"fmt"

	"onetrip/internal/units"
)

type flareRow struct {
	tube   units.Size
	thread units.Thread
}

func row(tubeSixteenths, majorNum, majorDen int, perInch int16) flareRow {
	return flareRow{units.Inches(tubeSixteenths, 16), units.Thread{Major: units.Inches(majorNum, majorDen), PerInch: perInch}}
}

// Threads by tube outside diameter. Values from memory of the published tables,
// tested against testdata/reference/flare_threads.csv.
var (
	// an37: SAE J514 / ISO 8434-2, 37 degree flare.
	an37 = []flareRow{row(3, 3, 8, 24), row(4, 7, 16, 20), row(5, 1, 2, 20), row(6, 9, 16, 18),
		row(8, 3, 4, 16), row(10, 7, 8, 14), row(12, 17, 16, 12)}
	// inverted45: SAE J512, 45 degree inverted flare.
	inverted45 = []flareRow{row(3, 3, 8, 24), row(4, 7, 16, 24), row(5, 1, 2, 20), row(6, 5, 8, 18), row(8, 3, 4, 18)}
	// pipe: ASME B1.20.1; the size is the nominal pipe size.
	pipe = []flareRow{row(1, 1, 16, 27), row(2, 1, 8, 27), row(4, 1, 4, 18), row(6, 3, 8, 18), row(8, 1, 2, 14)}
)

func threadTable(f Family) []flareRow {
	switch f {
	case ANFlare:
		return an37
	case InvertedFlare:
		return inverted45
	case NPT:
		return pipe
	}
	return nil
}

func threadOfSize(f Family, size units.Size) (units.Thread, error) {
	switch f {
	case PlainTube, HoseBarb, Hose:
		return units.Thread{}, nil
	case UNFPort, Banjo:
		return units.Thread{}, fmt.Errorf("end %s %s: is named by its thread; write it as 7/8-20", f, size)
	}
	for _, r := range threadTable(f) {
		if r.tube == size {
			return r.thread, nil
		}
	}
	return units.Thread{}, fmt.Errorf("end %s %s: no such size; accepted: %s", f, size, sizesOf(f))
}

func sizeOfThread(f Family, t units.Thread) (units.Size, error) {
	switch f {
	case PlainTube, HoseBarb, Hose:
		return units.Size{}, fmt.Errorf("end %s %s: has no thread; write a fraction such as 3/8", f, t)
	case UNFPort, Banjo:
		return t.Major, nil
	}
	for _, r := range threadTable(f) {
		if r.thread.Major == t.Major && r.thread.PerInch == t.PerInch {
			return r.tube, nil
		}
	}
	return units.Size{}, fmt.Errorf("end %s %s: no such thread; accepted: %s", f, t, sizesOf(f))
}

func sizesOf(f Family) string {
	text := ""
	for i, r := range threadTable(f) {
		if i > 0 {
			text += ", "
		}
		text += r.tube.String() + " (" + r.thread.String() + ")"
	}
	return text
}
