package store

import (
	"context"
	"database/sql"
	"time"
)

// AuditRow says who did what, and when.
type AuditRow struct {
	N      int64
	At     time.Time
	Who    string
	What   string
	Detail string
}

// Audit writes down who did what; nothing takes it back.
func (s *Store) Audit(_ context.Context, who, what, detail string, at time.Time) error {
	return s.do("audit "+what, func(tx *sql.Tx) error {
		n, err := nextOf(tx, "audit")
		if err != nil {
			return err
		}
		_, err = tx.Exec("INSERT INTO audit (n, at, who, what, detail, sum) VALUES (?, ?, ?, ?, ?, ?)",
			n, stamp(at), who, what, detail, rowSum("audit", number(n), stamp(at), who, what, detail))
		return err
	})
}

// AuditTail returns the last rows of the audit, newest first. A row that is not
// what was written says so in place of its detail.
func (s *Store) AuditTail(ctx context.Context, most int) ([]AuditRow, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT n, at, who, what, detail, sum FROM audit ORDER BY n DESC LIMIT ?", most)
	out, err := collect(rows, err, func(rows *sql.Rows) (r AuditRow, err error) {
		var at string
		var want int64
		if err := rows.Scan(&r.N, &at, &r.Who, &r.What, &r.Detail, &want); err != nil {
			return r, err
		}
		r.At, err = unstamp(at)
		if checked(want, "audit", number(r.N), at, r.Who, r.What, r.Detail) != nil {
			r.Detail, err = "damaged: this row is not what was written", nil
		}
		return r, err
	})
	return out, failed("read the audit", err)
}
