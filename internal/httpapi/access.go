package httpapi

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/labstack/echo/v4"
	"golang.org/x/time/rate"
)

// Access is who may use the service.
type Access struct {
	// Required reports whether a key must be presented; it may become true while the
	// service runs, when the first key is made.
	Required func() bool
	// Verify tells whose a key is, false for one that is not in force.
	Verify func(key string) (Caller, bool)
	// RequestsPerMinute is what each key has, here; another replica counts for itself.
	RequestsPerMinute int
}

// Caller is whom a key belongs to: the key's id and name. Allows reports whether the key
// has a scope.
type Caller struct {
	ID     string
	Name   string
	Allows func(scope string) bool
}

// anyone is the caller of a service that asks for no keys.
var anyone = Caller{ID: "anyone", Name: "anyone", Allows: func(string) bool { return true }}

// limitedAccess is Access with what each key has left.
type limitedAccess struct {
	Access
	policy   string
	limiters sync.Map // *rate.Limiter by Caller.ID; as many as there are keys
}

func newAccess(a *Access) *limitedAccess {
	if a == nil {
		return nil
	}
	return &limitedAccess{Access: *a, policy: fmt.Sprintf(`"key";q=%d;w=60`, a.RequestsPerMinute)}
}

const callerKey = "caller"

// caller is who asks.
func caller(c echo.Context) Caller {
	if who, ok := c.Get(callerKey).(Caller); ok {
		return who
	}
	return anyone
}

// admit lets in who presents a key with one of the operation's scopes and has
// requests left.
func (s *server) admit(op operation) echo.MiddlewareFunc {
	scopes := op.scopes()
	return func(next echo.HandlerFunc) echo.HandlerFunc {
		return func(c echo.Context) error {
			if len(scopes) == 0 || s.access == nil || !s.access.Required() {
				return next(c)
			}
			who, err := s.access.identify(c)
			if err != nil {
				return err
			}
			c.Set(callerKey, who)
			if err := s.access.spend(c, who); err != nil {
				return err
			}
			// Which of its scopes an import needs depends on what is imported: CreateImport asks for it.
			if op.OperationID != "createImport" && !slices.ContainsFunc(scopes, who.Allows) {
				return insufficientScope(c, scopes)
			}
			return next(c)
		}
	}
}

// identify reads the key as RFC 6750 section 2.1 has it.
func (a *limitedAccess) identify(c echo.Context) (Caller, error) {
	scheme, key, _ := strings.Cut(c.Request().Header.Get(echo.HeaderAuthorization), " ")
	if !strings.EqualFold(scheme, "Bearer") {
		challenge(c, "")
		return Caller{}, newProblem(ProblemTypeUnauthorized, "no key was sent; send Authorization: Bearer KEY, with a key that the operator of the service makes by keys create")
	}
	who, ok := a.Verify(strings.TrimSpace(key))
	if !ok {
		challenge(c, `, error="invalid_token"`)
		return Caller{}, newProblem(ProblemTypeUnauthorized, "the key is not in force: mistyped, rotated or revoked; ask the operator of the service for one that is")
	}
	return who, nil
}

// insufficientScope refuses a key that has none of the scopes.
func insufficientScope(c echo.Context, scopes []string) error {
	challenge(c, fmt.Sprintf(`, error="insufficient_scope", scope=%q`, scopes[0])) // RFC 6750 knows no "one of"
	return newProblem(ProblemTypeForbidden, "the key does not have the scope %s, which this needs; take a key that has it", strings.Join(scopes, " or "))
}

func challenge(c echo.Context, what string) {
	c.Response().Header().Set(echo.HeaderWWWAuthenticate, `Bearer realm="onetrip"`+what)
}

// spend takes one of a caller's requests: a bucket that holds a minute's and fills
// steadily.
func (a *limitedAccess) spend(c echo.Context, who Caller) error {
	perSecond := float64(a.RequestsPerMinute) / 60
	known, ok := a.limiters.Load(who.ID)
	if !ok {
		known, _ = a.limiters.LoadOrStore(who.ID, rate.NewLimiter(rate.Limit(perSecond), a.RequestsPerMinute))
	}
	limiter, now := known.(*rate.Limiter), time.Now()
	allowed := limiter.AllowN(now, 1)
	left := limiter.TokensAt(now)
	seconds := func(requests float64) int { return max(0, int(math.Ceil(requests/perSecond))) }
	h := c.Response().Header()
	h.Set("RateLimit-Policy", a.policy)
	h.Set("RateLimit", fmt.Sprintf(`"key";r=%d;t=%d`, max(0, int(left)), seconds(float64(a.RequestsPerMinute)-left)))
	if allowed {
		return nil
	}
	wait := max(1, seconds(1-left))
	h.Set(echo.HeaderRetryAfter, strconv.Itoa(wait))
	return newProblem(ProblemTypeTooManyRequests, "the key has used up its %d requests a minute; ask again in %d s, and spread requests out", a.RequestsPerMinute, wait)
}
