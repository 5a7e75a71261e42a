// Package correction is the correction in the printer's bed map: what is offered and
// approved, what stands there, and the one that changes it.
//
//   - Table is the correction of a run as it is offered, with its cautions, among them what
//     the printer would keep beside the map.
//   - SignOff takes a person's word on each caution, for one digest.
//   - Correction holds the last entry of the journal. Apply, Undo, Resolve and Reapply change
//     the map by way of package apply; Expiry and Learn say whether what stands there holds.
//   - sound and lineage verify an entry of the journal against the tables of its digests.
//
// # Concurrency
//
// A Correction has a lock of its own. A change of the map claims the house (nothing else
// begins), borrows the printer from the link, and goes on in the background; a request
// returns once the intent is in the journal.
//
// # Errors
//
// What is refused is an *api.Error with what to do; what went wrong in the map is in the
// entry of the journal.
package correction
