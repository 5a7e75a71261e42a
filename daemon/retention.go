package daemon

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"golang.org/x/sys/unix"

	"abbed/daemon/status"
	"abbed/daemon/store"
)

const (
	// warned is how long a run is named as due before it is dropped, so that
	// somebody can export it. A daemon that slept meanwhile names it first.
	warned = 7 * 24 * time.Hour
	// lookEvery is how often the store is looked through.
	lookEvery = 24 * time.Hour
	// measureEvery is how often its size is looked at.
	measureEvery = 15 * time.Second
	// early is the part of the size at which a warning comes.
	early = 0.9
	// dueReport is the report that holds when each due run was first named.
	dueReport = "retention-due"
)

// retaining holds the store to its bounds at the start, once a day, and when they change,
// until the context ends.
func (d *Daemon) retaining(ctx context.Context) {
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	size := time.NewTicker(measureEvery)
	defer size.Stop()
	held := d.owner().Retention
	for look := true; ; {
		if now := d.owner().Retention; look || now != held { // somebody may have raised it
			held = now
			d.look(ctx)
		}
		d.measureStore(ctx)
		select {
		case <-tick.C:
			look = true
		case <-size.C:
			look = false
		case <-ctx.Done():
			return
		}
	}
}

// look holds the store to its bounds.
func (d *Daemon) look(ctx context.Context) {
	if err := d.retain(ctx, time.Now()); err != nil && ctx.Err() == nil {
		d.log.Error("the store cannot be held to its bounds", "err", err)
	}
	d.changed()
}

// retain names the runs that are due soon, and drops those that are due and were
// named long enough ago.
func (d *Daemon) retain(ctx context.Context, now time.Time) error {
	r := d.owner().Retention
	keep := store.Keep{Days: r.Days, Bytes: int64(r.Megabytes) << 20}
	soon, err := d.store.Due(ctx, store.Keep{Days: keep.Days, Bytes: int64(early * float64(keep.Bytes))}, now.Add(warned))
	if err != nil {
		return err
	}
	was, err := d.named(ctx)
	if err != nil {
		return err
	}
	named := map[string]time.Time{}
	for _, row := range soon {
		named[row.ID] = now
		if at, ok := was[row.ID]; ok && at.Before(now) {
			named[row.ID] = at
		}
	}
	if err := d.name(ctx, was, named, now); err != nil {
		return err
	}
	due, err := d.store.Due(ctx, keep, now)
	if err != nil {
		return err
	}
	for _, row := range due {
		if at, ok := named[row.ID]; ok && now.Sub(at) >= warned {
			if err := d.drop(ctx, row, now); err != nil {
				return err
			}
			delete(named, row.ID)
		}
	}
	d.mu.Lock()
	d.kept.Due = len(named)
	d.mu.Unlock()
	return nil
}

// named returns when each due run was first named.
func (d *Daemon) named(ctx context.Context) (map[string]time.Time, error) {
	text, _, err := d.store.Report(ctx, dueReport)
	out := map[string]time.Time{}
	if errors.Is(err, store.ErrNone) {
		return out, nil
	}
	if err == nil {
		err = json.Unmarshal([]byte(text), &out)
	}
	return out, err
}

// name writes down and says which runs are due.
func (d *Daemon) name(ctx context.Context, was, named map[string]time.Time, now time.Time) error {
	same := len(was) == len(named)
	for id := range named {
		if _, ok := was[id]; !ok {
			same = false
			d.log.Warn("a run will be dropped: it is old, or the store is nearly full; abbed data export keeps it",
				"run", id, "not before", now.Add(warned).Format(time.DateOnly))
		}
	}
	if same {
		return nil
	}
	b, err := json.Marshal(named)
	if err != nil {
		return err
	}
	return d.store.SaveReport(ctx, dueReport, string(b), now)
}

func (d *Daemon) drop(ctx context.Context, row store.RunRow, now time.Time) error {
	r := d.owner().Retention
	why := fmt.Sprintf("retention: %d days, %d MB", r.Days, r.Megabytes)
	if err := d.store.Drop(ctx, row.ID, why); err != nil {
		return err
	}
	d.Drop(row.ID)
	d.mu.Lock()
	d.kept.Dropped++
	d.mu.Unlock()
	d.audit("abbed", "drop a run", row.ID+": "+why)
	return nil
}

// keeping is what is kept, for the board.
func (d *Daemon) keeping() status.Kept {
	d.mu.Lock()
	k := d.kept
	d.mu.Unlock()
	o := d.owner()
	k.Limit, k.Free = int64(o.Retention.Megabytes)<<20, free(o.State)
	return k
}

// measureStore looks how much of the store is in use.
func (d *Daemon) measureStore(ctx context.Context) {
	used, err := d.store.Usage(ctx)
	if err != nil {
		return // whoever writes next says so
	}
	d.mu.Lock()
	other := d.kept.Bytes != used
	d.kept.Bytes = used
	d.mu.Unlock()
	if other {
		d.changed()
	}
}

// free returns how many bytes the disk under dir has left for this program, or
// -1 if that cannot be told.
func free(dir string) int64 {
	var s unix.Statfs_t
	if dir == "" || unix.Statfs(dir, &s) != nil {
		return -1
	}
	return int64(s.Bavail) * int64(s.Bsize)
}

// notices are what a person should know of the store, as sentences; "" if
// nothing.
func (d *Daemon) notices() string {
	text := d.notice
	if n := d.keeping().Due; n > 0 {
		if text != "" {
			text += " "
		}
		text += fmt.Sprintf("abbed drops %d old runs within days. Keep them with abbed data export.", n)
	}
	return text
}
