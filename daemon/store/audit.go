package store

import (
	"context"
	"database/sql"
	"fmt"
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
		_, err := tx.Exec("INSERT INTO audit (at, who, what, detail) VALUES (?, ?, ?, ?)", stamp(at), who, what, detail)
		return err
	})
}

// AuditTail returns the last rows of the audit, newest first.
func (s *Store) AuditTail(ctx context.Context, most int) ([]AuditRow, error) {
	rows, err := s.read.QueryContext(ctx, "SELECT n, at, who, what, detail FROM audit ORDER BY n DESC LIMIT ?", most)
	if err != nil {
		return nil, fmt.Errorf("store: read the audit: %w", err)
	}
	defer rows.Close()
	out := []AuditRow{}
	for rows.Next() {
		var r AuditRow
		var at string
		if err := rows.Scan(&r.N, &at, &r.Who, &r.What, &r.Detail); err != nil {
			return nil, fmt.Errorf("store: read the audit: %w", err)
		}
		if r.At, err = unstamp(at); err != nil {
			return nil, fmt.Errorf("store: read the audit: %w", err)
		}
		out = append(out, r)
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("store: read the audit: %w", err)
	}
	return out, nil
}
