package httpapi

import (
	"context"
	"errors"
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"github.com/labstack/echo/v4"

	"onetrip/internal/catalog"
	"onetrip/internal/kit"
	"onetrip/internal/rules"
)

const mimeYAML = "application/yaml"

// RuleWriter keeps the draft of the rules and publishes it, for an actor that goes into
// the history. Its errors are those of Writer, and rules.Errors for what is wrong in rules.
type RuleWriter interface {
	RuleDraft(ctx context.Context) (*rules.Draft, error)
	PutRule(ctx context.Context, actor, id, text string, newNeed bool, pre catalog.Precondition) (catalog.Written, error)
	DeleteRule(ctx context.Context, actor, id string, pre catalog.Precondition) (catalog.Written, error)
	DiscardRuleDraft(ctx context.Context, actor string, pre catalog.Precondition) (catalog.Written, error)
	PublishRules(ctx context.Context, actor string, pre catalog.Precondition) (catalog.Written, error)
	RollBackRules(ctx context.Context, actor string, revision int64) (catalog.Written, error)
	RuleRevisions(ctx context.Context) ([]rules.Revision, error)
	RuleHistory(ctx context.Context, id string) ([]rules.HistoryEntry, error)
}

// ListRules serves GET /v1/rules.
func (s *server) ListRules(c echo.Context, p ListRulesParams) error {
	all, err := s.rules(c, p.Draft)
	if err != nil {
		return err
	}
	return writePage(c, list[*rules.Rule]{
		items: all,
		key:   func(r *rules.Rule) string { return r.ID },
		match: func(r *rules.Rule) bool { return is(p.Need, r.Need) && is(p.Kind, r.Kind) },
		write: func(b *buffer, r *rules.Rule) error { return b.value(viewRule(r)) },
		limit: p.Limit, cursor: p.Cursor,
	})
}

// GetRule serves GET /v1/rules/{id}.
func (s *server) GetRule(c echo.Context, id RuleID, p GetRuleParams) error {
	all, err := s.rules(c, p.Draft)
	if err != nil {
		return err
	}
	r, err := findRule(all, id)
	if err != nil {
		return err
	}
	// Writes are conditional on the text, which stands before the dot.
	if c.Get(mediaTypeKey) == mimeYAML {
		return writeTagged(c, mimeYAML, rules.ETag(r.Text)+".yaml", []byte(r.Text))
	}
	view := viewRule(r)
	return writeOne(c, rules.ETag(r.Text)+"."+catalog.ETag(view), func(b *buffer) error { return b.value(view) })
}

// findRule finds a rule in a list by id.
func findRule(all []*rules.Rule, id string) (*rules.Rule, error) {
	at, found := slices.BinarySearchFunc(all, id, func(r *rules.Rule, id string) int { return strings.Compare(r.ID, id) })
	if found {
		return all[at], nil
	}
	ids := make([]string, len(all))
	for i, r := range all {
		ids[i] = r.ID
	}
	return nil, &catalog.NotFoundError{What: "rule", ID: id, Near: catalog.Near(id, ids, 3)}
}

// rules lists the rules by id: of the snapshot, or of the draft. Rules of the draft are
// read one by one, since together they need not be a set.
func (s *server) rules(c echo.Context, draft *Draft) ([]*rules.Rule, error) {
	snap, err := s.snapshot()
	if err != nil {
		return nil, err
	}
	if s.writer == nil || draft == nil || !*draft {
		return snap.Rules.Rules(), nil
	}
	d, err := s.writer.RuleDraft(c.Request().Context())
	if err != nil {
		return nil, err
	}
	return d.Rules()
}

func viewRule(r *rules.Rule) Rule {
	some := func(text string) *string {
		if text == "" {
			return nil
		}
		return &text
	}
	view := Rule{ID: r.ID, File: r.File, When: r.When, Need: some(r.Need), ForEach: some(r.ForEach), Because: some(r.Because),
		Source: r.Source, Reads: append([]string{}, r.Reads()...), Text: r.Text}
	if r.Need != "" {
		kind, severity := r.Kind, Severity(r.Severity)
		view.Kind, view.Severity = &kind, &severity
	}
	if r.Unsuitable {
		view.Unsuitable = &r.Unsuitable
	}
	return view
}

// ruleID is the form of the ids of rules that are written here: with a dash, so that none
// is the name of another path.
var ruleID = regexp.MustCompile(`^[a-z0-9]+(-[a-z0-9]+)+$`)

const ruleIDForm = "write two words or more of small letters and digits with single dashes between, as in fuel-hose-ethanol"

// PutRule serves PUT /v1/rules/{id}.
func (s *server) PutRule(c echo.Context, id RuleID, p PutRuleParams) error {
	w, pre, err := s.writableWhen(c)
	if err != nil {
		return err
	}
	if !ruleID.MatchString(id) || len(id) > 100 {
		return badParameter("id", "is %q; %s, at most 100 characters", clip(id), ruleIDForm)
	}
	return s.withText(c, mimeYAML, func(body []byte) error {
		written, err := w.PutRule(c.Request().Context(), caller(c).ID, id, string(body), p.NewNeed != nil && *p.NewNeed, pre)
		if err != nil {
			return err
		}
		return answerWritten(c, written)
	})
}

// DeleteRule serves DELETE /v1/rules/{id}.
func (s *server) DeleteRule(c echo.Context, id RuleID) error {
	return remove(s, c, id, Writer.DeleteRule)
}

// GetRuleDraft serves GET /v1/rules/draft.
func (s *server) GetRuleDraft(c echo.Context) error {
	d := &rules.Draft{}
	if s.writer != nil {
		var err error
		if d, err = s.writer.RuleDraft(c.Request().Context()); err != nil {
			return err
		}
	}
	view := RuleDraft{Changes: append([]rules.Change{}, d.Changes...), Errors: []Fault{}}
	if len(d.Changes) > 0 {
		var wrong rules.Errors
		if err := s.checkDraft(c.Request().Context(), d); errors.As(err, &wrong) {
			view.Errors = ruleFaults(wrong)
		} else if err != nil {
			return err
		}
	}
	// What writes are conditional on stands before the dot; who and when behind it.
	return writeOne(c, d.ETag()+"."+catalog.ETag(view), func(b *buffer) error { return b.value(view) })
}

// checkDraft checks the rules as publishing would make them, by themselves and on what the
// catalogue has. The error may be a rules.Errors.
func (s *server) checkDraft(ctx context.Context, d *rules.Draft) error {
	after, err := d.Check()
	if err != nil {
		return err
	}
	snap, err := s.snapshot()
	if err != nil {
		return err
	}
	return kit.Failing(ctx, snap, after)
}

// DiscardRuleDraft serves DELETE /v1/rules/draft.
func (s *server) DiscardRuleDraft(c echo.Context) error {
	return s.overDraft(c, Writer.DiscardRuleDraft)
}

// PublishRules serves POST /v1/rules/publish. A draft other than the one that the caller has
// read is refused whatever is wrong with it.
func (s *server) PublishRules(c echo.Context) error {
	return s.overDraft(c, func(w Writer, ctx context.Context, actor string, pre catalog.Precondition) (catalog.Written, error) {
		d, err := w.RuleDraft(ctx)
		if err != nil {
			return catalog.Written{}, err
		}
		if pre.Holds(d.ETag()) {
			if err := s.checkDraft(ctx, d); err != nil {
				return catalog.Written{}, err
			}
		}
		return w.PublishRules(ctx, actor, pre)
	})
}

// overDraft does something with the draft that the caller has read.
func (s *server) overDraft(c echo.Context, do func(w Writer, ctx context.Context, actor string, pre catalog.Precondition) (catalog.Written, error)) error {
	return remove(s, c, "", func(w Writer, ctx context.Context, actor, _ string, pre catalog.Precondition) (catalog.Written, error) {
		return do(w, ctx, actor, pre)
	})
}

// RollBackRules serves POST /v1/rules/rollback.
func (s *server) RollBackRules(c echo.Context) error {
	w, err := s.writable()
	if err != nil {
		return err
	}
	return s.withBody(c, func(body []byte) error {
		to, err := decode(body, schemaNamed("RuleRollback"), func(*RuleRollback) []catalog.Violation { return nil })
		if err != nil {
			return err
		}
		written, err := w.RollBackRules(c.Request().Context(), caller(c).ID, to.CatalogueRevision)
		if err != nil {
			return err
		}
		return answerWritten(c, written)
	})
}

// ListRuleRevisions serves GET /v1/rules/revisions.
func (s *server) ListRuleRevisions(c echo.Context, p ListRuleRevisionsParams) error {
	var all []rules.Revision
	if s.writer != nil {
		var err error
		if all, err = s.writer.RuleRevisions(c.Request().Context()); err != nil {
			return err
		}
	}
	return writePage(c, list[rules.Revision]{
		items: all,
		key:   func(r rules.Revision) string { return newestFirst(r.Revision) },
		match: func(rules.Revision) bool { return true },
		write: func(b *buffer, r rules.Revision) error { return b.value(r) },
		limit: p.Limit, cursor: p.Cursor,
	})
}

// ListRuleHistory serves GET /v1/rules/{id}/history.
func (s *server) ListRuleHistory(c echo.Context, id RuleID, p ListRuleHistoryParams) error {
	var all []rules.HistoryEntry
	if s.writer != nil {
		var err error
		if all, err = s.writer.RuleHistory(c.Request().Context(), id); err != nil {
			return err
		}
	}
	if len(all) == 0 { // not so for a rule that was there from the first revision on
		known, err := s.rules(c, nil)
		if err != nil {
			return err
		}
		if _, err := findRule(known, id); err != nil {
			return err
		}
	}
	return writePage(c, list[rules.HistoryEntry]{
		items: all,
		key:   func(e rules.HistoryEntry) string { return newestFirst(e.Revision) },
		match: func(rules.HistoryEntry) bool { return true },
		write: func(b *buffer, e rules.HistoryEntry) error { return b.value(e) },
		limit: p.Limit, cursor: p.Cursor,
	})
}

// newestFirst is a key that sorts later revisions first.
func newestFirst(revision int64) string { return fmt.Sprintf("%019d", math.MaxInt64-revision) }

// ruleFaults are errors in rules as the contract lists them.
func ruleFaults(list rules.Errors) []Fault {
	faults := make([]Fault, len(list))
	for i, e := range list {
		faults[i] = Fault{Rule: &e.File, Line: &e.Line, Column: &e.Column, Detail: e.Detail}
	}
	return faults
}
