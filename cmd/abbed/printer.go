package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"abbed/config"
)

// addPrinter lets a caller name a printer of this machine instead of address and
// token.
func (k *caller) addPrinter(c *cobra.Command) {
	c.Flags().StringVar(&k.printer, "printer", "", "a printer of this machine by the name it has from setup, instead of --url and --token-file")
	_ = c.RegisterFlagCompletionFunc("printer", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return printers(), cobra.ShellCompDirectiveNoFileComp
	})
}

// printers are those that were set up on this machine.
func printers() (out []string) {
	for _, dir := range []string{settingsDir(true), settingsDir(false)} {
		files, _ := filepath.Glob(filepath.Join(dir, "*.yaml"))
		for _, f := range files {
			out = append(out, filepath.Base(f[:len(f)-len(".yaml")]))
		}
	}
	return out
}

// find takes address and token from the settings of the printer that was named.
// Whoever may not read the token goes by the printer's socket, if there is one
// that lets him.
func (k *caller) find(dirs ...string) error {
	if !instance.MatchString(k.printer) {
		return usage(fmt.Errorf("--printer %q: there are %v; abbed setup makes one", k.printer, printers()))
	}
	for _, dir := range dirs {
		file := filepath.Join(dir, k.printer+".yaml")
		if _, err := os.Stat(file); errors.Is(err, fs.ErrNotExist) {
			continue
		}
		s, err := config.Load(config.Options{File: file, Environ: []string{}})
		if err != nil {
			return usage(err)
		}
		k.at(s)
		return nil
	}
	return usage(fmt.Errorf("--printer %s: no such settings in %v; there are %v; abbed setup makes one", k.printer, dirs, printers()))
}

// at takes address and token from settings.
func (k *caller) at(s config.Settings) {
	k.url, k.token = "http://"+s.Listen, filepath.Join(s.State, "token")
	if s.Access.Certificate != "" {
		k.url = "https://" + s.Listen
	}
	if _, err := readToken(k.token); errors.Is(err, fs.ErrPermission) && s.Socket != "" {
		k.url = "unix:" + s.Socket
	}
}
