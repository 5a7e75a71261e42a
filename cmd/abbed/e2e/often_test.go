package e2e_test

import "os"

// often is how often a test that takes minutes does what it does: in CI (the
// environment says CI=true) as often as is asked for, elsewhere so often that
// the package stays well within the ten minutes that go test gives it on a small
// machine. What is tried is the same.
func often(inCI, elsewhere int) int {
	if os.Getenv("CI") == "true" {
		return inCI
	}
	return elsewhere
}
