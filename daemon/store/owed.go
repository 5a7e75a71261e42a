package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"time"

	"abbed/probe/record"
)

// Owed is what a run switched off and could not put back.
type Owed struct {
	Switches []record.Switch
	Why      string
	At       time.Time
}

// SetOwed writes down what is owed to the printer; it replaces what was.
func (s *Store) SetOwed(_ context.Context, switches []record.Switch, why string) error {
	if switches == nil {
		switches = []record.Switch{}
	}
	return s.do("write down what is owed", func(tx *sql.Tx) error {
		b, err := json.Marshal(switches)
		if err != nil {
			return err
		}
		n, err := nextOf(tx, "owed")
		if err != nil {
			return err
		}
		at := stamp(time.Now())
		_, err = tx.Exec("INSERT INTO owed (n, switches, why, at, sum) VALUES (?, ?, ?, ?, ?)",
			n, string(b), why, at, rowSum("owed", number(n), string(b), why, at))
		return err
	})
}

// ClearOwed writes down that nothing is owed any more.
func (s *Store) ClearOwed(ctx context.Context) error { return s.SetOwed(ctx, nil, "put back") }

// Owed returns what is owed; no Switches if nothing is.
func (s *Store) Owed(ctx context.Context) (Owed, error) {
	var o Owed
	var n, want int64
	var list, at string
	err := s.read.QueryRowContext(ctx, "SELECT n, switches, why, at, sum FROM owed ORDER BY n DESC LIMIT 1").Scan(&n, &list, &o.Why, &at, &want)
	if errors.Is(err, sql.ErrNoRows) {
		return Owed{}, nil
	}
	if err == nil {
		err = checked(want, "owed", number(n), list, o.Why, at)
	}
	if err == nil {
		err = json.Unmarshal([]byte(list), &o.Switches)
	}
	if err == nil {
		o.At, err = unstamp(at)
	}
	if err != nil {
		return Owed{}, failed("read what is owed", err)
	}
	return o, nil
}
