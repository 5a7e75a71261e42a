// Package webtest holds what tests of the API and the page share: Validate and
// Transport compare answers with the served description, and Desk is a desk
// that says what a test told it. Nothing of it is part of the program.
//
// In the comparison every shape of the description is closed: a member that an
// answer has and the description has not is a fault as well.
package webtest
