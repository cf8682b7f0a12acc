// Package pitch measures what sounds: the pitch of a stiff string with its uncertainty.
package pitch
