package kit_test

import "onetrip/internal/kit/kittest"

// demoSnapshot is the demo catalogue, read once.
var demoSnapshot = kittest.Demo
