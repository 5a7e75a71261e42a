// Package probe carries out a run: it moves the head, touches the bed, and takes
// the person through the gauging.
//
// The nouns, in the order in which data passes:
//
//   - Dialogue carries commands to the printer; a gcode.Session is one.
//   - Head is the only sender of motion, and holds every guard: homed, within
//     travel, at clearance, Room under the nozzle, floor. It makes touches and
//     throws the printer's switches, and keeps that it did.
//   - Plan says how much is measured, route where the person gauges next, and
//     approachTo how the nozzle comes there: predicted contact, arrival, floor,
//     largest step.
//   - Person acts at the blade; a pending wait for an Action is the state in
//     which the run awaits a person.
//   - Log keeps each event; View shows where the run stands.
//   - Execute carries out the steps in their order and puts back whatever was
//     switched off, also after a failure.
//
// # Units
//
// mm, mm per minute for feeds, seconds of the job's clock.
//
// # Concurrency
//
// A run is one goroutine, that of Execute. The person's actions come over Act,
// one at a time.
//
// # Errors
//
// Refused: not done, nothing moved, and what to do instead. CutError: the run
// ends early for a reason that is a finding. Fault: the machine, the line or
// the disk failed; errors.Is finds the cause in gcode's errors. After a fault
// that loses the position nothing moves any more, not even up.
//
// # References
//
// RS-274/NGC (NIST IR 6556) for the words of motion; ISO 841 for the axes.
package probe
