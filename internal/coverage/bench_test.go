package coverage_test

import (
	"fmt"
	"testing"
	"time"

	"onetrip/internal/coverage"
	"onetrip/internal/kit"
	"onetrip/internal/kit/kittest"
)

// BenchmarkReport works out reports on the demo catalogue, from the question to the best
// set of three parts.
func BenchmarkReport(b *testing.B) {
	s := kittest.Demo(b)
	for _, basis := range []kit.Basis{kit.OnSale, kit.InStock} {
		for _, workers := range []int{1, 2} {
			b.Run(fmt.Sprintf("%s/workers=%d", basis, workers), func(b *testing.B) {
				b.ReportAllocs()
				kits, began := 0, time.Now()
				for b.Loop() {
					kits += report(b, s, coverage.Question{Basis: basis}, workers).Verdicts.All.Kits
				}
				b.ReportMetric(float64(kits)/time.Since(began).Seconds(), "kits/s")
			})
		}
	}
}
