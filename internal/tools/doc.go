// Package tools is the module of the build tools. It is apart from the main
// module so that what the tools need never weighs on what ships.
package tools
