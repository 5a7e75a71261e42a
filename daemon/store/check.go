package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"syscall"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"
)

// check reads the whole file and compares it with its own rules.
func check(ctx context.Context, db *sql.DB) error {
	if err := ours(ctx, db); err != nil {
		return err
	}
	if err := sameRules(ctx, db); err != nil {
		return err
	}
	if err := passes(ctx, db, "PRAGMA integrity_check(5)"); err != nil {
		return err
	}
	return passes(ctx, db, "PRAGMA foreign_key_check")
}

// passes has SQLite check the file.
func passes(ctx context.Context, db *sql.DB, q string) error {
	said, err := texts(ctx, db, q)
	if err != nil {
		return err
	}
	if err := unread(said); err != nil {
		return fmt.Errorf("%s: %w", q, err)
	}
	if len(said) > 0 && said[0] != "ok" {
		return fmt.Errorf("%s: %s: %w", q, strings.Join(said, "; "), ErrDamaged)
	}
	return nil
}

// pageError is how SQLite's check says that a page could not be had.
var pageError = regexp.MustCompile(`unable to get the page\. error code=(\d+)`)

// unread returns ErrDisk if a check failed because the disk did not give a page,
// which says nothing about what is written there.
func unread(said []string) error {
	for _, line := range said {
		for _, m := range pageError.FindAllStringSubmatch(line, -1) {
			if code, err := strconv.Atoi(m[1]); err == nil && code&0xff == sqlite3.SQLITE_IOERR {
				return fmt.Errorf("%w: %s", ErrDisk, m[0])
			}
		}
	}
	return nil
}

// ours reports an error unless the file is empty or was made by us.
func ours(ctx context.Context, db *sql.DB) error {
	var id, objects int
	if err := db.QueryRowContext(ctx, "PRAGMA application_id").Scan(&id); err != nil {
		return err
	}
	if err := db.QueryRowContext(ctx, "SELECT count(*) FROM sqlite_schema").Scan(&objects); err != nil {
		return err
	}
	v, err := version(ctx, db)
	if err != nil {
		return err
	}
	if v > len(migrations) {
		return fmt.Errorf("version %d: %w", v, ErrNewer)
	}
	if (objects > 0 || v > 0) && id != applicationID {
		return fmt.Errorf("%s was not made by abbed: %w", fileName, ErrDamaged)
	}
	if v > 0 && objects == 0 {
		return fmt.Errorf("%s has lost its tables: %w", fileName, ErrDamaged)
	}
	return nil
}

// texts returns the first column of a query.
func texts(ctx context.Context, db *sql.DB, q string) ([]string, error) {
	rows, err := db.QueryContext(ctx, q)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	cols, err := rows.Columns()
	if err != nil {
		return nil, err
	}
	var out []string
	for rows.Next() {
		cells := make([]any, len(cols))
		for i := range cells {
			cells[i] = new(any)
		}
		if err := rows.Scan(cells...); err != nil {
			return nil, err
		}
		out = append(out, fmt.Sprint(*cells[0].(*any)))
	}
	return out, rows.Err()
}

// isDamage reports whether the file itself is at fault, and not the disk, its
// permissions or another version.
func isDamage(err error) bool {
	if errors.Is(err, ErrDamaged) {
		return true
	}
	var e *sqlite.Error
	if !errors.As(err, &e) {
		return false
	}
	code := e.Code() & 0xff
	return code == sqlite3.SQLITE_CORRUPT || code == sqlite3.SQLITE_NOTADB
}

// moveAside moves the store's files into a directory of their own.
func moveAside(dir string, damage error) (Notice, error) {
	base := filepath.Join(dir, "damaged-"+time.Now().UTC().Format("20060102-150405"))
	to := base
	for k := 2; ; k++ {
		err := os.Mkdir(to, 0o700)
		if err == nil {
			break
		}
		if !errors.Is(err, os.ErrExist) {
			return Notice{}, err
		}
		to = fmt.Sprintf("%s-%d", base, k)
	}
	// The log first: should the second move fail, the file that stays is
	// damaged still, and is found again.
	for _, suffix := range []string{"-wal", "-journal", "-shm", ""} {
		name := fileName + suffix
		err := os.Rename(filepath.Join(dir, name), filepath.Join(to, name))
		if err != nil && !errors.Is(err, os.ErrNotExist) {
			return Notice{}, fmt.Errorf("move the damaged store aside: %w", err)
		}
	}
	if err := errors.Join(syncDir(to), syncDir(dir)); err != nil {
		return Notice{}, fmt.Errorf("move the damaged store aside: %w", err)
	}
	return Notice{
		Text:  fmt.Sprintf("The store of runs was damaged (%v). It was moved to %s, and a new, empty one was begun.", damage, to),
		Hint:  "Nothing was deleted. What was applied, or is owed, is not known here any more: look at the printer's bed map before you go on. Check the disk or the card, too.",
		Moved: to,
	}, nil
}

// orphan reports an error if there is a write-ahead log whose file is empty or
// gone: SQLite would delete such a log, and with it what was confirmed last.
func orphan(dir string) error {
	file, err := os.Stat(filepath.Join(dir, fileName))
	if err == nil && file.Size() > 0 {
		return nil
	}
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return err
	}
	if wal, err := os.Stat(filepath.Join(dir, fileName+"-wal")); err == nil && wal.Size() > 0 {
		return fmt.Errorf("%s is empty or gone, its log is there: %w", fileName, ErrDamaged)
	}
	return nil
}

// lockDir takes the directory for this process; closing the file gives it back.
func lockDir(dir string) (*os.File, error) {
	f, err := os.OpenFile(filepath.Join(dir, "abbed.lock"), os.O_RDWR|os.O_CREATE, 0o600)
	if err != nil {
		return nil, err
	}
	err = syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		err = ErrInUse
	}
	if err != nil {
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// markName is a file that stays beside the store and says that one was begun.
const markName = "abbed.begun"

// missed tells of a store that was here and is gone: an empty file after a
// power cut, a file that somebody removed.
func (s *Store) missed(ctx context.Context) (Notice, error) {
	mark := filepath.Join(s.dir, markName)
	var begun string
	err := s.write.QueryRowContext(ctx, "SELECT value FROM meta WHERE key = 'begun'").Scan(&begun)
	if err == nil {
		return Notice{}, s.leaveMark(mark)
	}
	if !errors.Is(err, sql.ErrNoRows) {
		return Notice{}, err
	}
	var notice Notice
	if was, err := os.ReadFile(mark); err == nil {
		notice = Notice{
			Text: fmt.Sprintf("The store of runs that was begun here at %s is gone. A new, empty one was begun.", strings.TrimSpace(string(was))),
			Hint: "If you did not remove it, check the disk or the card. What was applied, or is owed, is not known here any more: look at the printer's bed map before you go on.",
		}
	}
	_, err = s.write.ExecContext(ctx, "INSERT INTO meta (key, value) VALUES ('begun', ?)", stamp(time.Now()))
	if err != nil {
		return notice, err
	}
	return notice, s.leaveMark(mark)
}

func (s *Store) leaveMark(mark string) error {
	if _, err := os.Stat(mark); err == nil {
		return nil
	}
	return os.WriteFile(mark, []byte(stamp(time.Now())+"\n"), 0o600)
}
