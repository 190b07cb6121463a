package calc

import _ "onetrip/internal/golden" // accepts -update here too
