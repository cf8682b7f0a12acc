// Package quiet keeps what C libraries print on standard error off the user's screen.
package quiet
