package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
	"time"

	"onetrip/internal/catalog"
	"onetrip/internal/store"
)

// keysCommand manages access keys in the database.
type keysCommand struct {
	Create keysCreateCommand `cmd:"" help:"Make a key and print it, once."`
	List   keysListCommand   `cmd:"" help:"List keys without their secrets."`
	Rotate keysRotateCommand `cmd:"" help:"Give a key a new secret and print it, once; the old one stops at once."`
	Revoke keysRevokeCommand `cmd:"" help:"End a key for good, at once."`
}

type keysCreateCommand struct {
	Name    string   `required:"" help:"Who uses the key."`
	Scope   []string `required:"" placeholder:"SCOPE" help:"What the key may do: read, kits, stock, catalogue, admin; several with commas. Every key may read."`
	IfFirst bool     `help:"End well, making none, where a key was ever made."`
}

// Run makes a key.
func (c *keysCreateCommand) Run(ctx context.Context, s streams) error {
	return withKeys(ctx, func(keys *store.Keys) error {
		if c.IfFirst {
			if err := keys.Load(ctx); err != nil {
				return err
			}
			if keys.Required() {
				_, err := fmt.Fprintln(s.err, "a key was made before; none was made now")
				return err
			}
		}
		key, text, err := keys.Create(ctx, c.Name, c.Scope)
		if err != nil {
			return mistakes("keys", err)
		}
		return showKey(s, key, text)
	})
}

type keysListCommand struct{}

// Run lists keys, newest first.
func (c *keysListCommand) Run(ctx context.Context, s streams) error {
	return withKeys(ctx, func(keys *store.Keys) error {
		list, err := keys.List(ctx)
		if err != nil {
			return err
		}
		return listKeys(s.out, list)
	})
}

type keysRotateCommand struct {
	ID string `arg:"" help:"Id of the key, as keys list shows it."`
}

// Run gives a key another secret.
func (c *keysRotateCommand) Run(ctx context.Context, s streams) error {
	return withKeys(ctx, func(keys *store.Keys) error {
		key, text, err := keys.Rotate(ctx, c.ID)
		if err != nil {
			return noKey(c.ID, err)
		}
		return showKey(s, key, text)
	})
}

type keysRevokeCommand struct {
	ID string `arg:"" help:"Id of the key, as keys list shows it."`
}

// Run ends a key.
func (c *keysRevokeCommand) Run(ctx context.Context, s streams) error {
	return withKeys(ctx, func(keys *store.Keys) error {
		key, err := keys.Revoke(ctx, c.ID)
		if err != nil {
			return noKey(c.ID, err)
		}
		_, err = fmt.Fprintf(s.out, "key %s (%s) is revoked\n", key.ID, key.Name)
		return err
	})
}

func withKeys(ctx context.Context, do func(*store.Keys) error) error {
	pool, err := openDatabase(ctx)
	if err != nil {
		return err
	}
	defer pool.Close()
	keys, err := newKeys(pool)
	if err != nil {
		return err
	}
	return do(keys)
}

// noKey tells a wrong id from what else can fail.
func noKey(id string, err error) error {
	if missing := (*catalog.NotFoundError)(nil); errors.As(err, &missing) {
		return &inputError{fmt.Errorf("no key with the id %q is in force; keys list shows all", id)}
	}
	return err
}

// showKey prints the key alone on standard output, so that a script can take it.
func showKey(s streams, key store.Key, text string) error {
	if _, err := fmt.Fprintf(s.err, "key %s (%s), scopes %s; keep it now, it is not shown again:\n", key.ID, key.Name, strings.Join(key.Scopes, ", ")); err != nil {
		return err
	}
	_, err := fmt.Fprintln(s.out, text)
	return err
}

func listKeys(w io.Writer, list []store.Key) error {
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	_, _ = fmt.Fprintln(table, "ID\tNAME\tSCOPES\tCREATED\tROTATED\tLAST USED\tREVOKED") // Flush tells of errors
	for _, k := range list {
		_, _ = fmt.Fprintf(table, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", k.ID, k.Name, strings.Join(k.Scopes, ","),
			moment(&k.Created), moment(k.Rotated), moment(k.LastUsed), moment(k.Revoked))
	}
	return table.Flush()
}

// moment is a time as RFC 3339 in UTC, or a dash.
func moment(t *time.Time) string {
	if t == nil {
		return "-"
	}
	return t.UTC().Format(time.RFC3339)
}
