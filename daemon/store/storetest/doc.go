// Package storetest is a disk for tests of the store: it forgets what was not
// synced, as a power cut does, and it can be full, read-only, short or lying.
//
// The nouns, in the order in which data passes: Watch puts a Disk under every
// SQLite file of one directory; an Op is one thing that SQLite asks of a file,
// and a hook (Disk.On) is told of each before it is done, and answers with a
// Fault; Cut gives the directory as a power cut leaves it at that moment.
//
// # The model of a power cut
//
// After POSIX fsync(2) and sqlite.org/atomiccommit.html: what was synced is
// there. Of what was written to a file since its last sync any part may be
// there, in any order, and one write may be torn at a sector. A file that was
// made or removed is there or not until its directory was synced, which SQLite
// does at the first sync of a log. Bytes beside a write are not harmed (what
// SQLite calls powersafe overwrite, its default). A drive that says synced and
// lies is not covered: nothing can be promised on one.
//
// # Concurrency
//
// Everything may be called from anywhere; a hook is called by whoever uses the
// file, and may call Cut.
package storetest
