package store_test

import _ "onetrip/internal/golden" // accepts -update here too
