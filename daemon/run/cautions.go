package run

import (
	"abbed/daemon/api"
)

// runCautions are confirmed by a person before anything moves.
var runCautions = []api.Caution{
	{ID: "bed-clear", Text: "The bed is clear: no print, no tool, no clip."},
	{ID: "head-free", Text: "The head and the bed move freely, and hands stay out."},
	{ID: "power-switch", Text: "I can reach the printer's power switch."},
}
