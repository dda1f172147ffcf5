// Package face is the command line: what a user types comes in, what he reads goes out.
//
// Start reading at Run. Every command has a file of its own: it parses its
// flags, calls one function of the packages below and prints what comes back.
package face
