// Package run carries out runs on the word of a person.
//
//   - Runner makes a run (asked for by a person, the printer's own button or the calendar),
//     waits for its cautions to be confirmed, and carries it to its end; one at a time.
//   - active is the run in hand: what is shown of it, and where a person's act is handed over.
//   - Stop ends what goes on; it belongs to that, and dies with it.
//   - Owed is what a run switched off and could not switch on again.
//   - What somebody brings after a run (readings, thicknesses, a later run) is added behind it.
//
// A run's states are those of the API:
//
//	awaiting-confirmation -> running <-> awaiting-person, awaiting-gauge, awaiting-next
//	                      -> stopped     (withdrawn, or another is wanted)
//	running ...           -> done, stopped, failed
//
// # Concurrency
//
// One start or confirmation at a time (starting); the rest under a lock of its own. One act
// of a person at a time is handed to the job, and no request waits for a person. The end of
// the program waits for jobs, at most lastWords.
package run
