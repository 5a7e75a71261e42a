package status

import "sync/atomic"

// Board shows the latest Snapshot. The zero Board is ready: it shows an empty
// Snapshot.
type Board struct {
	sheet atomic.Pointer[sheet]
}

// sheet is one snapshot with the channel that is closed when the next hangs.
type sheet struct {
	snapshot Snapshot
	gone     chan struct{}
}

// New returns an empty board.
func New() *Board { return &Board{} }

// current returns the sheet that hangs, hanging an empty one first if none
// does.
func (b *Board) current() *sheet {
	if s := b.sheet.Load(); s != nil {
		return s
	}
	b.sheet.CompareAndSwap(nil, &sheet{gone: make(chan struct{})})
	return b.sheet.Load()
}

// Publish hangs s in the place of the latest snapshot and wakes whoever waits.
// The caller must not change anything that s leads to afterwards.
func (b *Board) Publish(s Snapshot) {
	b.current() // so that somebody who waits on the empty board is woken
	old := b.sheet.Swap(&sheet{snapshot: s, gone: make(chan struct{})})
	close(old.gone)
}

// Latest returns the snapshot that was published last.
func (b *Board) Latest() Snapshot { return b.current().snapshot }

// Changed returns a channel that is closed at the next Publish. Take it before
// Latest: then nothing that is published between the two is missed.
func (b *Board) Changed() <-chan struct{} { return b.current().gone }
