package pick

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

func BenchmarkSolve(b *testing.B) {
	for _, c := range []struct {
		name                        string
		needs, candidates, conflict int
		proportional                bool
		instances                   int
	}{
		{"independent/14x130", 14, 130, 20, false, 200},
		{"proportional/14x130", 14, 130, 20, true, 200},
		{"independent/40x2000", 40, 2000, 100, false, 10},
		{"proportional/40x2000", 40, 2000, 100, true, 10},
	} {
		b.Run(c.name, func(b *testing.B) {
			var ps []*Problem
			for n := range c.instances {
				ps = append(ps, cover(rand.New(rand.NewPCG(uint64(n), 1)), c.needs, c.candidates, c.conflict, c.proportional))
			}
			times := make([]time.Duration, len(ps))
			for n := range times {
				times[n] = time.Hour
			}
			nodes := int64(0)
			b.ReportAllocs()
			b.ResetTimer()
			for n := 0; n < b.N; n++ {
				k := n % len(ps)
				start := time.Now()
				sol, err := Solve(context.Background(), ps[k], Limits{})
				times[k] = min(times[k], time.Since(start))
				if err != nil {
					b.Fatal(err)
				}
				nodes += sol.Nodes
			}
			slices.Sort(times)
			for len(times) > 1 && times[len(times)-1] == time.Hour {
				times = times[:len(times)-1]
			}
			b.ReportMetric(float64(times[len(times)/2].Nanoseconds())/1e3, "median-µs")
			b.ReportMetric(float64(times[len(times)-1].Nanoseconds())/1e3, "max-µs")
			b.ReportMetric(float64(nodes)/float64(b.N), "nodes/op")
			_ = fmt.Sprint
		})
	}
}
