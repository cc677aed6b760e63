// Package acme has the test of certificates by ACME: the program as it is shipped, against
// a real authority for tests that runs in the same process as the test.
package acme
