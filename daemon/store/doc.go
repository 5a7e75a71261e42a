// Package store keeps what must not be lost: the events of every run, tables
// and analyses, what is applied to the printer or owed to it, and who did what.
//
// The nouns, in the order in which data passes: Log is the pen of one run (it
// numbers, stamps and folds its events, and makes them durable); Store is the
// file under the state directory, with one writer; Applied is an entry of the
// journal of what we wrote to the printer; Owed is what a run switched off and
// could not put back; AuditRow says who did what; Notice tells the person what
// had to be moved aside at the start.
//
// # Durability
//
// The file is SQLite with a write-ahead log and a sync at each commit: what
// Append, SaveApplied, SetOwed and the others were given is on the disk when
// they return, as far as the disk tells the truth. A Log writes touches in
// batches, at most FlushWithin after they were made, and everything else at
// once. A kill or a power cut loses at most what was not yet returned; what is
// there is always a prefix of what was written. A touch costs one sync and about
// 7 kB of writing alone, 3 kB and a fifth of a sync in batches of five
// (BenchmarkWear): a survey of 200 touches wears a card by about 1.5 MB.
//
// Events, journal and audit are append-only; triggers inside the file hold it.
// Each event and each entry of the journal carries a checksum (CRC-32C) of its
// content, since SQLite itself does not see a flipped bit in a value.
//
// # Units
//
// As in probe/record: mm, s, um for nodes. Times are UTC.
//
// # Concurrency
//
// All methods of Store and Log may be called from anywhere. Reads never wait
// for the disk's sync of a write. A second process is refused by a lock on the
// directory.
//
// # Errors
//
// ErrInUse, ErrNewer, ErrDamaged, ErrNone and ErrOrder are to be branched on.
// Everything else is the disk's, with the act before it. After an error
// nothing was half done: each call is one transaction.
package store
