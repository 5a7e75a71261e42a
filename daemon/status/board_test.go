package status_test

import (
	"sync"
	"testing"
	"testing/synctest"

	"abbed/daemon/api"
	"abbed/daemon/status"
)

func TestEmptyBoard(t *testing.T) {
	var b status.Board
	if got := b.Latest(); got.Run != nil || got.Printer.Link != "" {
		t.Errorf("an empty board shows %+v", got)
	}
	changed := b.Changed()
	b.Publish(status.Snapshot{Printer: api.Printer{Link: api.Ready}})
	select {
	case <-changed:
	default:
		t.Error("the first snapshot did not wake who waited on the empty board")
	}
	if got := b.Latest().Printer.Link; got != api.Ready {
		t.Errorf("link %q, want ready", got)
	}
}

// Whoever takes Changed before Latest sees the last of what was published,
// however the two goroutines run.
func TestNothingIsMissed(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b := status.New()
		const last = 1000
		var wg sync.WaitGroup
		for range 4 {
			wg.Go(func() {
				for {
					changed := b.Changed()
					if b.Latest().Counters.Touches == last {
						return
					}
					<-changed
				}
			})
		}
		for n := uint64(1); n <= last; n++ {
			b.Publish(status.Snapshot{Counters: status.Counters{Touches: n}})
		}
		wg.Wait() // a missed one would leave the bubble deadlocked: a failure
	})
}

func TestManyPublish(t *testing.T) {
	b := status.New()
	var wg sync.WaitGroup
	for range 8 {
		wg.Go(func() {
			for range 100 {
				b.Publish(status.Snapshot{})
				_ = b.Latest()
			}
		})
	}
	wg.Wait() // a channel closed twice would panic
}
