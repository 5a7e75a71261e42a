package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"

	_ "modernc.org/sqlite" // the driver
)

// Sentinels of this package.
var (
	// ErrInUse says that another process has the state directory.
	ErrInUse = errors.New("the state directory is in use by another abbed; stop that one, or give --state another directory")
	// ErrNewer says that a later version of abbed wrote the store.
	ErrNewer = errors.New("the store was written by a later version of abbed; use that one, or give --state another directory")
	// ErrDamaged says that something in the store is not what was written.
	ErrDamaged = errors.New("damaged")
	// ErrNone says that what was asked for is not in the store.
	ErrNone = errors.New("not in the store")
	// ErrOrder says that an entry does not follow what is there.
	ErrOrder = errors.New("does not follow what is stored")
)

// fileName is the store's name under the state directory.
const fileName = "abbed.db"

// Store is the durable memory of the daemon. Make one with Open.
type Store struct {
	dir  string
	lock *os.File

	// one makes writes queue here and not in SQLite's busy loop.
	one    sync.Mutex
	write  *sql.DB
	next   *sql.Stmt // of write: the number of the event that would come next of a run
	insert *sql.Stmt // of write: one event
	read   *sql.DB
	writes atomic.Int64
	spoilt []string // rows that are not what was written, at Open
}

// Notice is what the person should know about how the store was opened; the
// zero Notice is nothing.
type Notice struct {
	// Text says what was found and done, Hint what to do.
	Text string
	Hint string
	// Moved is where the damaged files are now.
	Moved string
}

// Open opens the store in dir and makes what is missing: the directory (mode
// 0700), the file (0600), the schema. It checks the whole file. A damaged store
// is moved aside, a new one is begun, and the Notice says so; nothing is
// deleted. A store that cannot be read for another reason is an error and is
// left as it is.
func Open(ctx context.Context, dir string) (*Store, Notice, error) {
	s := &Store{dir: dir}
	notice, err := s.open(ctx)
	if err != nil {
		return nil, Notice{}, errors.Join(failed("open "+dir, err), s.close())
	}
	return s, notice, nil
}

func (s *Store) open(ctx context.Context) (Notice, error) {
	if err := makeDir(s.dir); err != nil {
		return Notice{}, err
	}
	var err error
	if s.lock, err = lockDir(s.dir); err != nil {
		return Notice{}, err
	}
	var notice Notice
	damage := orphan(s.dir)
	if damage == nil {
		damage = s.connect(ctx)
	}
	if isDamage(damage) {
		if err := s.disconnect(); err != nil {
			return Notice{}, err
		}
		if notice, err = moveAside(s.dir, damage); err != nil {
			return Notice{}, err
		}
		damage = s.connect(ctx)
	}
	if damage != nil {
		return Notice{}, damage
	}
	if notice != (Notice{}) {
		return notice, nil
	}
	if notice, err = s.missed(ctx); err != nil || notice != (Notice{}) {
		return notice, err
	}
	return tellSpoilt(s.spoilt), nil
}

// makeDir makes the state directory if it is not there, and has the disk keep
// that it is: what is synced inside a directory that goes is lost.
func makeDir(dir string) error {
	if _, err := os.Stat(dir); err == nil {
		return nil
	}
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return err
	}
	return syncDir(filepath.Dir(filepath.Clean(dir)))
}

// connect opens the file, checks it and brings its schema up to date.
func (s *Store) connect(ctx context.Context) error {
	f, err := os.OpenFile(s.path(), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	if err := f.Close(); err != nil {
		return err
	}
	if s.write, err = sql.Open("sqlite", dsn(s.path(), false)); err != nil {
		return err
	}
	s.write.SetMaxOpenConns(1)
	s.write.SetMaxIdleConns(1)
	if err := check(ctx, s.write); err != nil {
		return err
	}
	if err := s.keepOld(ctx); err != nil {
		return err
	}
	if err := migrate(ctx, s.write); err != nil {
		return err
	}
	if s.spoilt, err = spoilt(ctx, s.write); err != nil {
		return err
	}
	if err := s.prepare(ctx); err != nil {
		return err
	}
	if s.read, err = sql.Open("sqlite", dsn(s.path(), true)); err != nil {
		return err
	}
	s.read.SetMaxOpenConns(2)
	s.read.SetMaxIdleConns(2)
	return s.read.PingContext(ctx)
}

// keepOld copies the file as it is before its schema is brought up to date: an older program
// can go on with the copy.
func (s *Store) keepOld(ctx context.Context) error {
	have, err := version(ctx, s.write)
	if err != nil || have == 0 || have >= len(migrations) {
		return err
	}
	to := fmt.Sprintf("%s.schema-%d", s.path(), have)
	if _, err := os.Stat(to); err == nil {
		return nil // of an upgrade that was cut off: nothing was changed since
	}
	tmp := to + ".new"
	if err := os.Remove(tmp); err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if _, err := s.write.ExecContext(ctx, "VACUUM INTO ?", tmp); err != nil {
		return fmt.Errorf("keep the store as it was before the upgrade (make room for a second one): %w", err)
	}
	return errors.Join(os.Chmod(tmp, 0o600), os.Rename(tmp, to), syncDir(s.dir))
}

// prepare has SQLite read once what is asked for each event: reading it anew was
// most of what an event cost.
func (s *Store) prepare(ctx context.Context) (err error) {
	if s.next, err = s.write.PrepareContext(ctx, "SELECT coalesce(max(n), 0) + 1 FROM events WHERE run = ?"); err != nil {
		return err
	}
	s.insert, err = s.write.PrepareContext(ctx, "INSERT INTO events (run, n, kind, body, sum) VALUES (?, ?, ?, ?, ?)")
	return err
}

// dsn names the file for the driver; a reader can change nothing.
func dsn(path string, reader bool) string {
	abs, err := filepath.Abs(path)
	if err != nil {
		abs = path
	}
	q := url.Values{}
	for _, p := range []string{"busy_timeout(5000)", "foreign_keys(1)", "trusted_schema(0)"} {
		q.Add("_pragma", p)
	}
	if reader {
		q.Add("_pragma", "query_only(1)")
	} else {
		q.Add("_pragma", "journal_mode(WAL)")
		q.Add("_pragma", "synchronous(FULL)")
		q.Set("_txlock", "immediate")
	}
	u := url.URL{Scheme: "file", Path: abs, RawQuery: q.Encode()}
	return u.String()
}

func (s *Store) path() string { return filepath.Join(s.dir, fileName) }

// Dir returns the state directory.
func (s *Store) Dir() string { return s.dir }

// Close closes the store. No call may follow.
func (s *Store) Close() error {
	if err := s.close(); err != nil {
		return fmt.Errorf("store: close: %w", err)
	}
	return nil
}

func (s *Store) close() error {
	err := s.disconnect()
	if s.lock != nil {
		err = errors.Join(err, s.lock.Close())
		s.lock = nil
	}
	return err
}

func (s *Store) disconnect() error {
	var errs []error
	for _, db := range []**sql.DB{&s.read, &s.write} {
		if *db != nil {
			errs = append(errs, (*db).Close())
			*db = nil
		}
	}
	return errors.Join(errs...)
}

// do runs f in one transaction, which is on the disk when do returns nil. A
// write is not cut short by a context: half a second of disk is not worth a
// doubt about what was kept.
func (s *Store) do(act string, f func(*sql.Tx) error) error {
	s.one.Lock()
	defer s.one.Unlock()
	tx, err := s.write.Begin()
	if err != nil {
		return failed(act, err)
	}
	if err := f(tx); err != nil {
		return errors.Join(failed(act, err), rolledBack(tx.Rollback()))
	}
	if err := tx.Commit(); err != nil {
		// A commit that failed may have left the transaction open; the
		// connection must not carry it into the next one.
		_, _ = s.write.Exec("ROLLBACK")
		return failed(act, err)
	}
	s.writes.Add(1)
	return nil
}

// collect scans every row of an answer; with an error comes what came before it.
func collect[T any](rows *sql.Rows, err error, scan func(*sql.Rows) (T, error)) ([]T, error) {
	out := []T{}
	if err != nil {
		return out, err
	}
	defer rows.Close()
	for rows.Next() {
		v, err := scan(rows)
		if err != nil {
			return out, err
		}
		out = append(out, v)
	}
	return out, rows.Err()
}

// Writes returns how many transactions were made durable since Open; each is
// one sync of the disk, and wears a card.
func (s *Store) Writes() int64 { return s.writes.Load() }

// rolledBack drops what Rollback says when the transaction has ended already.
func rolledBack(err error) error {
	if errors.Is(err, sql.ErrTxDone) {
		return nil
	}
	return err
}
