package daemon

import (
	"abbed/daemon/api"
)

// runCautions are confirmed by a person before anything moves.
var runCautions = []api.Caution{
	{ID: "bed-clear", Text: "The bed is clear: no print, no tool, no clip within the head's way."},
	{ID: "head-free", Text: "The head and the bed move freely, and hands stay out while they move."},
	{ID: "power-switch", Text: "I can reach the printer's power switch. The stop request over USB is no emergency stop, and it may let Z sink."},
	{ID: "hot-parts", Text: "Nozzle and bed may be hot and burn the skin; I have looked."},
	{ID: "maker", Text: "The printer maker's instructions and local rules come first. Work on mains wiring, heaters and frames under load belongs to qualified people."},
}
