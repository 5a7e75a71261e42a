package store

import "context"

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
