// Package known puts together what is known of a printer: what its owner set and what it
// answered, each with its source.
//
//   - Words are the dialect of the settings.
//   - Known is the setup as far as it is known; what is set wins over what was answered. Steps
//     says which steps it is enough for.
//   - Examination is what a printer answers to somebody without a daemon, and the settings
//     that are proposed from it.
//
// Lengths are mm. All of it are pure functions, but for Examine, which asks a printer and
// moves nothing.
package known
