package store

import (
	"context"
	"fmt"
	"slices"
	"strings"
)

// Exec runs a statement on the writer's connection: tests make the disk full
// with it, or try what the file's own rules forbid.
func (s *Store) Exec(q string, args ...any) error {
	_, err := s.write.ExecContext(context.Background(), q, args...)
	return err
}

// Pages returns the size of the file in pages.
func (s *Store) Pages() (n int64) {
	_ = s.write.QueryRow("PRAGMA page_count").Scan(&n)
	return n
}

// Pragma returns a setting of the writer's connection.
func (s *Store) Pragma(name string) (v string) {
	_ = s.write.QueryRow("PRAGMA " + name).Scan(&v)
	return v
}

// Versions is the number of versions of the schema.
var Versions = len(migrations)

// FileName is the store's name under the state directory.
const FileName = fileName

// PutRulesBack makes again whatever rules of the file are missing.
func (s *Store) PutRulesBack() error {
	all, err := released()
	if err != nil {
		return err
	}
	is, err := rules(context.Background(), s.write)
	if err != nil {
		return err
	}
	for _, rule := range all[len(migrations)] {
		if c := strings.Split(rule, "\x00"); !slices.Contains(is, rule) {
			if err := s.Exec(c[3]); err != nil {
				return fmt.Errorf("%s: %w", c[1], err)
			}
		}
	}
	return nil
}
