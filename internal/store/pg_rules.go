package store

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/jackc/pgx/v5"

	"onetrip/internal/catalog"
	"onetrip/internal/rules"
)

// RuleDraft reads the published rules and the changes that wait, as they are at one moment.
func (w *Writer) RuleDraft(ctx context.Context) (*rules.Draft, error) {
	var d *rules.Draft
	err := pgx.BeginTxFunc(ctx, w.Pool, pgx.TxOptions{IsoLevel: pgx.RepeatableRead, AccessMode: pgx.ReadOnly}, func(tx pgx.Tx) (err error) {
		d, err = readRuleDraft(ctx, tx)
		return err
	})
	return d, pgError(err)
}

// heldDraft is the draft, when a precondition holds for a tag of it.
func heldDraft(ctx context.Context, tx pgx.Tx, pre catalog.Precondition, tag func(*rules.Draft) string) (*rules.Draft, error) {
	d, err := readRuleDraft(ctx, tx)
	if err == nil && !pre.Holds(tag(d)) {
		return nil, catalog.ErrPreconditionFailed
	}
	return d, err
}

func readRuleDraft(ctx context.Context, tx pgx.Tx) (*rules.Draft, error) {
	published, err := loadRuleTexts(ctx, tx)
	if err != nil {
		return nil, err
	}
	d := &rules.Draft{Published: published}
	var c rules.Change
	var source *string
	err = each(ctx, tx, "SELECT id, source, actor, at FROM rule_drafts ORDER BY id", nil, []any{&c.ID, &source, &c.Actor, &c.At}, func() error {
		c.Before, c.After, c.At = d.PublishedText(c.ID), "", c.At.UTC()
		if source != nil {
			c.After = *source
		}
		if c.After != c.Before { // a rule rolled back to its draft differs no more
			d.Changes = append(d.Changes, c)
		}
		return nil
	})
	return d, err
}

// PutRule writes the text of a rule into the draft; newNeed lets it raise a need that
// no other rule raises. Errors are those of Writer and rules.Errors.
func (w *Writer) PutRule(ctx context.Context, actor, id, text string, newNeed bool, pre catalog.Precondition) (catalog.Written, error) {
	text = rules.Normal(text)
	return w.draftRule(ctx, actor, id, text, pre, func(d *rules.Draft) error { return d.CheckText(id, text, newNeed) })
}

// DeleteRule takes a rule out of the draft.
func (w *Writer) DeleteRule(ctx context.Context, actor, id string, pre catalog.Precondition) (catalog.Written, error) {
	return w.draftRule(ctx, actor, id, "", pre, func(d *rules.Draft) error {
		if d.Text(id) == "" {
			return &catalog.NotFoundError{What: "rule", ID: id}
		}
		return nil
	})
}

// draftRule makes a rule's text in the draft after, "" for none.
func (w *Writer) draftRule(ctx context.Context, actor, id, after string, pre catalog.Precondition, check func(*rules.Draft) error) (catalog.Written, error) {
	return w.commit(ctx, func(ctx context.Context, tx pgx.Tx, current catalogueRow) (catalog.Written, error) {
		d, err := heldDraft(ctx, tx, pre, func(d *rules.Draft) string { return rules.ETag(d.Text(id)) })
		if err != nil {
			return catalog.Written{}, err
		}
		before := d.Text(id)
		if err := check(d); err != nil {
			return catalog.Written{}, err
		}
		if after == d.PublishedText(id) {
			_, err = tx.Exec(ctx, "DELETE FROM rule_drafts WHERE id = $1", id)
		} else if after != before {
			_, err = tx.Exec(ctx, `INSERT INTO rule_drafts (id, source, actor) VALUES ($1, nullif($2, ''), $3)
				ON CONFLICT (id) DO UPDATE SET source = excluded.source, actor = excluded.actor, at = now()`, id, after, actor)
		}
		return catalog.Written{Revision: current.revision, ETag: rules.ETag(after), Created: before == ""}, err
	})
}

// DiscardRuleDraft throws the changes away.
func (w *Writer) DiscardRuleDraft(ctx context.Context, _ string, pre catalog.Precondition) (catalog.Written, error) {
	return w.commit(ctx, func(ctx context.Context, tx pgx.Tx, current catalogueRow) (catalog.Written, error) {
		if _, err := heldDraft(ctx, tx, pre, (*rules.Draft).ETag); err != nil {
			return catalog.Written{}, err
		}
		_, err := tx.Exec(ctx, "DELETE FROM rule_drafts")
		return catalog.Written{Revision: current.revision}, err
	})
}

// PublishRules makes all changes of the draft one revision, or none: rules.Errors says
// why the rules do not go together.
func (w *Writer) PublishRules(ctx context.Context, actor string, pre catalog.Precondition) (catalog.Written, error) {
	return w.commit(ctx, func(ctx context.Context, tx pgx.Tx, current catalogueRow) (catalog.Written, error) {
		d, err := heldDraft(ctx, tx, pre, (*rules.Draft).ETag)
		if err != nil {
			return catalog.Written{}, err
		}
		ids := make([]string, len(d.Changes))
		for i, c := range d.Changes {
			ids[i] = c.ID
		}
		revision, err := exchangeRules(ctx, tx, actor, current.revision, d.Published, d.Texts(), "publish rules "+strings.Join(ids, ", "))
		if err != nil {
			return catalog.Written{}, err
		}
		_, err = tx.Exec(ctx, "DELETE FROM rule_drafts")
		return catalog.Written{Revision: revision}, err
	})
}

// RollBackRules publishes the rules as they were at a revision of the catalogue. The
// draft stays.
func (w *Writer) RollBackRules(ctx context.Context, actor string, to int64) (catalog.Written, error) {
	return w.commit(ctx, func(ctx context.Context, tx pgx.Tx, current catalogueRow) (catalog.Written, error) {
		if to < 1 || to > current.revision {
			return catalog.Written{}, invalid("rollback", "/catalogue_revision", fmt.Sprintf("%d is no revision of this catalogue; accepted: 1 to %d", to, current.revision))
		}
		now, err := loadRuleTexts(ctx, tx)
		if err != nil {
			return catalog.Written{}, err
		}
		then, err := ruleTextsAt(ctx, tx, now, to)
		if err != nil {
			return catalog.Written{}, err
		}
		revision, err := exchangeRules(ctx, tx, actor, current.revision, now, then, fmt.Sprintf("roll rules back to revision %d", to))
		return catalog.Written{Revision: revision}, err
	})
}

// exchangeRules writes rules over those that are there, as a new revision with an audit
// row for each that differs. Without any difference the current revision stays.
func exchangeRules(ctx context.Context, tx pgx.Tx, actor string, current int64, before, after []rules.Text, summary string) (revision int64, err error) {
	type pair struct{ before, after *rules.Text }
	pairs := map[string]pair{}
	for i := range before {
		pairs[before[i].ID] = pair{&before[i], nil}
	}
	for i := range after {
		pairs[after[i].ID] = pair{pairs[after[i].ID].before, &after[i]}
	}
	var changed []string
	for id, p := range pairs {
		if p.before == nil || p.after == nil || *p.before != *p.after {
			changed = append(changed, id)
		}
	}
	if len(changed) == 0 {
		return current, nil
	}
	slices.Sort(changed)
	if _, err := rules.CheckTexts(after); err != nil {
		return 0, err
	}
	if revision, err = bump(ctx, tx, actor, "catalogue", summary); err != nil {
		return 0, err
	}
	if _, err := tx.Exec(ctx, "DELETE FROM rules WHERE id = ANY($1::text[])", changed); err != nil {
		return 0, err
	}
	for _, id := range changed {
		p := pairs[id]
		var was, is any // nil, and not a pointer that is nil
		if p.before != nil {
			was = p.before
		}
		if p.after != nil {
			is = p.after
			_, err := tx.Exec(ctx, "INSERT INTO rules (id, file, place, source, revision) VALUES ($1, $2, $3, $4, $5)", id, p.after.File, p.after.Place, p.after.Source, revision)
			if err != nil {
				return 0, err
			}
		}
		if err := audit(ctx, tx, actor, revision, "rule", id, was, is); err != nil {
			return 0, err
		}
	}
	return revision, nil
}

// ruleTextsAt undoes every change after a revision: what a rule was then is what it was
// before its first change since.
func ruleTextsAt(ctx context.Context, tx pgx.Tx, now []rules.Text, revision int64) ([]rules.Text, error) {
	texts := slices.Clone(now)
	var id string
	var before *string
	err := each(ctx, tx, `SELECT DISTINCT ON (key) key, before::text FROM audit WHERE kind = 'rule' AND revision > $1 ORDER BY key, id`,
		[]any{revision}, []any{&id, &before}, func() error {
			texts = slices.DeleteFunc(texts, func(t rules.Text) bool { return t.ID == id })
			if before == nil {
				return nil
			}
			var t rules.Text
			if err := json.Unmarshal([]byte(*before), &t); err != nil {
				return fmt.Errorf("what rule %s was: %w", id, err)
			}
			texts = append(texts, t)
			return nil
		})
	return texts, err
}

func loadRuleTexts(ctx context.Context, tx pgx.Tx) ([]rules.Text, error) {
	rows, err := tx.Query(ctx, "SELECT id, file, place, source FROM rules ORDER BY file, place")
	if err != nil {
		return nil, err
	}
	return pgx.CollectRows(rows, pgx.RowToStructByPos[rules.Text])
}

// RuleRevisions lists the revisions that changed rules, newest first.
func (w *Writer) RuleRevisions(ctx context.Context) ([]rules.Revision, error) {
	rows, err := w.Pool.Query(ctx, `
		SELECT r.revision, r.actor, r.at, r.summary,
		  coalesce(array_agg(a.key ORDER BY a.key) FILTER (WHERE a.before IS NULL), '{}'),
		  coalesce(array_agg(a.key ORDER BY a.key) FILTER (WHERE a.before IS NOT NULL AND a.after IS NOT NULL), '{}'),
		  coalesce(array_agg(a.key ORDER BY a.key) FILTER (WHERE a.after IS NULL), '{}')
		FROM audit a JOIN revisions r USING (revision) WHERE a.kind = 'rule' GROUP BY r.revision ORDER BY r.revision DESC`)
	if err != nil {
		return nil, pgError(err)
	}
	list, err := pgx.CollectRows(rows, func(row pgx.CollectableRow) (r rules.Revision, err error) {
		err = row.Scan(&r.Revision, &r.Actor, &r.At, &r.Summary, &r.Added, &r.Changed, &r.Deleted)
		r.At = r.At.UTC()
		return r, err
	})
	return list, pgError(err)
}

// RuleHistory lists the published changes of a rule, newest first.
func (w *Writer) RuleHistory(ctx context.Context, id string) ([]rules.HistoryEntry, error) {
	changes, err := Audit(ctx, w.Pool, "rule", id)
	if err != nil {
		return nil, err
	}
	list := make([]rules.HistoryEntry, len(changes))
	for i, c := range changes {
		list[i] = rules.HistoryEntry{Revision: c.Revision, Change: rules.Change{ID: id, Actor: c.Actor, At: c.At.UTC()}}
		for _, side := range []struct {
			state json.RawMessage
			text  *string
		}{{c.Before, &list[i].Before}, {c.After, &list[i].After}} {
			var t *rules.Text
			if err := json.Unmarshal(side.state, &t); err != nil {
				return nil, err
			}
			if t != nil {
				*side.text = rules.Normal(t.Source)
			}
		}
	}
	return list, nil
}
