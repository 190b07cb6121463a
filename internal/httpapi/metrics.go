package httpapi

import (
	"net/http"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"
	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/common/expfmt"

	"onetrip/internal/kit"
)

// metrics are the service's figures since it started.
type metrics struct {
	registry *prometheus.Registry
	took     *prometheus.HistogramVec // by operation and status
	kits     *prometheus.CounterVec   // by verdict and whether proven
}

func (s *server) newMetrics() metrics {
	m := metrics{
		registry: prometheus.NewRegistry(),
		took: prometheus.NewHistogramVec(prometheus.HistogramOpts{
			Name: "onetrip_request_seconds", Help: "Time that requests took, by operation of the contract and status.",
			Buckets: []float64{0.0005, 0.001, 0.0025, 0.005, 0.01, 0.025, 0.05, 0.1, 0.25, 0.5, 1, 2.5, 5, 10, 60},
		}, []string{"operation", "status"}),
		kits: prometheus.NewCounterVec(prometheus.CounterOpts{
			Name: "onetrip_kits_total", Help: "Kits found, by verdict and by whether they are proven the best.",
		}, []string{"verdict", "optimal"}),
	}
	m.registry.MustRegister(m.took, m.kits, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}))
	gauge := func(name, help string, value func() float64) {
		m.registry.MustRegister(prometheus.NewGaugeFunc(prometheus.GaugeOpts{Name: name, Help: help}, value))
	}
	gauge("onetrip_catalogue_revision", "Revision of the catalogue that answers, 0 while none is loaded.", func() float64 {
		if snap := s.current(); snap != nil {
			return float64(snap.Catalog.Revision)
		}
		return 0
	})
	if s.database != nil {
		gauge("onetrip_catalogue_age_seconds", "For how long it has not been known whether the catalogue is the newest.", func() float64 {
			_, age := s.database()
			return age.Seconds()
		})
		gauge("onetrip_database_connected", "1 while the database answers, 0 while not.", func() float64 {
			if connected, _ := s.database(); connected {
				return 1
			}
			return 0
		})
	}
	return m
}

const operationKey = "operation"

// named tells observe which operation of the contract a request asks for.
func named(id string) echo.MiddlewareFunc {
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			c.Set(operationKey, id)
			return next(c)
		}
	}
}

// request counts a request that was answered. What asks for no operation counts together,
// whatever its path.
func (m *metrics) request(c echo.Context, took time.Duration) {
	operation, ok := c.Get(operationKey).(string)
	if !ok {
		operation = "none"
	}
	m.took.WithLabelValues(operation, strconv.Itoa(c.Response().Status)).Observe(took.Seconds())
}

func (m *metrics) kit(k *kit.Kit) {
	m.kits.WithLabelValues(string(k.Verdict), strconv.FormatBool(k.Proof.Optimal)).Inc()
}

// GetMetrics serves GET /metrics.
func (s *server) GetMetrics(c echo.Context) error {
	families, err := s.metrics.registry.Gather()
	if err != nil {
		return err
	}
	b := takeBuffer()
	defer b.release()
	for _, f := range families {
		if _, err := expfmt.MetricFamilyToText(b, f); err != nil {
			return err
		}
	}
	c.Response().Header().Set(echo.HeaderCacheControl, noStore)
	return writeBytes(c, http.StatusOK, string(expfmt.NewFormat(expfmt.TypeTextPlain)), b.Bytes())
}
