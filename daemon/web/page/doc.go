// Package page is what a person sees: server-made HTML that reads and acts
// without a script, and a small script of our own that keeps it live.
//
// The nouns, in the order in which data passes: a screen gathers what it shows
// from the api.Desk (a view: plain sentences, numbers with units, pictures of
// package picture), a template of screens/ lays it out, and a form posts to
// /do/..., which asks the Desk and leads back. Screens: / (the printer and what
// to do next), /run/{id} (the run in hand), /run/{id}/results (the findings, and
// below the first of them what can be done), /run/{id}/review (the table, node
// by node, and its sign-off), /applied, /runs, /printer, /devices (which
// browsers are let in; for whoever may do everything), /room.
//
// The stop request stands at the bottom of every screen.
//
// # Units
//
// mm to 0.001, said beside every number.
//
// # Script and policy
//
// Every screen works under Content-Security-Policy: default-src 'self': no
// script, style or handler stands within the HTML. static/abbed.js follows the
// run's event stream and replaces those parts of the screen (data-part) that
// changed and that nobody is typing in; asks for a stop until it is answered;
// lets the machine be moved over a live line only; shows the value of a picture
// under a finger or by the arrow keys; and says moments in the reader's time.
//
// # Errors
//
// A refusal of the Desk is shown above the screen that asked, with the act, the
// cause and the remedy, and with its status.
package page
