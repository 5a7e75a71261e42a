// Package probe carries out a run: it moves the head, touches the bed, and takes
// the person through the gauging.
//
// The nouns, in the order in which data passes:
//
//   - Dialogue carries commands to the printer; a gcode.Session is one.
//   - Head is the only sender of motion, and owns what must hold at one: homed,
//     the levelling as wanted, within travel, at clearance, Room under the nozzle,
//     floor, travel limits. It asserts them after each homing and absence, and keeps
//     with each touch and reading the state that it was made in.
//   - ground is the surface as the touches so far tell it: what a touch must fit to
//     be believed.
//   - Plan says how much is measured, route where the person gauges next,
//     approachTo how the nozzle comes there (predicted contact, arrival, floor), and
//     descent which step follows each answer.
//   - Person acts at the gauge and answers questions.
//   - Log keeps each event; View shows where the run stands.
//   - Execute carries out the steps in their order and puts back whatever was
//     switched off, also after a failure.
//
// # Who waits for whom
//
// A run is in one of four phases. No request waits for a person or for another
// request: one act at a time is taken, and only in the phase that it belongs to.
//
//	working   the machine moves; nothing can be asked of it
//	gauge     nozzle down, the person feels: loose, drags, tight, or skip, forget
//	next      nozzle up, hand and gauge go out: next, forget
//	person    a question waits: yes or no, with a value or without
//
//	working --arrived--> gauge --reading, skip, floor--> next --next--> working
//	working --asks-----> person --answered--> working
//
// loose, drags, tight and skip are answered when their move has ended, next and the
// answer to a question at once. An act that ends the run is answered when the nozzle is up.
//
// Nobody acts for the plan's Patience: the nozzle goes up, the limits on, the heat
// off; gauge becomes next, and a question goes on waiting, or counts as a no where it
// may. Nothing times out after that. Whoever comes back finds the same phase, and
// the machine looks whether it is still free and homes before it moves on
// (Head.Left, job.back). Where the motors may have let go meanwhile nothing moves,
// not even up.
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
// A record.Problem with a status: not done, nothing moved, and what to do instead. CutError: the run
// ends early for a reason that is a finding. A Problem without one: the machine, the line or
// the disk failed; errors.Is finds the cause in gcode's errors. After a fault
// that loses the position nothing moves any more, not even up.
//
// # References
//
// RS-274/NGC (NIST IR 6556) for the words of motion; ISO 841 for the axes.
package probe
