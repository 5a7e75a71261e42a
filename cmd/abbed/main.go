// Command abbed tells the bed from the beam: it surveys a printer's bed with the
// printer's own probe, has a person gauge the nozzle, works out what the head's
// tilt costs at the nozzle, and offers a correction that is reviewed, signed
// off, applied, read back and undone.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"abbed/cmd/abbed/commands"
	"abbed/cmd/abbed/process"
)

func main() {
	process.Slim()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	os.Exit(commands.Main(ctx, os.Args[1:], os.Stdout, os.Stderr))
}
