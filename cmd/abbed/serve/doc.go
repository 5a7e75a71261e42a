// Package serve has the commands that run on the machine of the data: serve, export, import.
package serve
