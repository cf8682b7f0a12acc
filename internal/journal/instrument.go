package journal

import (
	"context"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"
)

// An Instrument is an instrument as sessions and events name it.
type Instrument struct {
	Identity string // as in Session
	Name     string // as in Session.Instrument
	Strings  int    // how many it has, as far as is known; 0: not known

	Sessions int       // that name it so; set by the journal
	Last     time.Time // start of the newest of them
}

// Instruments lists what the sessions and events name, in the order of Identity and Name.
func (j *Journal) Instruments(ctx context.Context) ([]Instrument, error) {
	list, err := j.store.Instruments(ctx)
	return list, stored(err)
}

// Find returns under which names the journal knows an instrument that a user has asked for: by its
// Identity, if the caller could tell it, or by a Name, which is that of a session, that name without its
// folder or its ending, as lists show it, or the name that an identity begins with. A moved file thus
// keeps its history. Old sessions, which have no identity, belong to the instrument if they have its
// name, or a file of the same name with as many strings.
//
// None are found without an error; if the name could mean several instruments, the error names them.
func (j *Journal) Find(ctx context.Context, asked Instrument) ([]Instrument, error) {
	known, err := j.Instruments(ctx)
	if err != nil {
		return nil, err
	}
	var found []Instrument
	for _, in := range known {
		if asked.Identity != "" && in.Identity == asked.Identity || in.isCalled(asked.Name) {
			found = append(found, in)
		}
	}
	if slices.ContainsFunc(found, func(in Instrument) bool { return asked.Identity != "" && in.Identity == asked.Identity }) {
		found = slices.DeleteFunc(found, func(in Instrument) bool { return in.Identity != "" && in.Identity != asked.Identity })
	}
	if slices.ContainsFunc(found, isIdentified) {
		found = slices.DeleteFunc(found, func(old Instrument) bool {
			return old.Identity == "" && !slices.ContainsFunc(found, func(in Instrument) bool { return isIdentified(in) && old.couldBe(&in) })
		})
	}
	found = withOthers(known, found)
	if others := differing(found); len(others) > 1 {
		return nil, fmt.Errorf("%s may be any of: %s", asked.Name, strings.Join(others, "; "))
	}
	// The newest name of a known identity comes first.
	slices.SortStableFunc(found, func(a, b Instrument) int {
		if (a.Identity == "") != (b.Identity == "") {
			return strings.Compare(b.Identity, a.Identity)
		}
		return b.Last.Compare(a.Last)
	})
	return found, nil
}

// isCalled reports whether a user may call the instrument so.
func (in *Instrument) isCalled(name string) bool {
	if name == "" {
		return false
	}
	base := in.base()
	owner, _, _ := strings.Cut(in.Identity, identityColon)
	return name == in.Name || name == base || name == strings.TrimSuffix(base, path.Ext(base)) || name == in.Identity || name == owner && owner != ""
}

// identityColon ends the name in an identity.
const identityColon = ": "

// base is the name without a folder, as of any system.
func (in *Instrument) base() string {
	return in.Name[strings.LastIndexAny(in.Name, `/\\`)+1:]
}

func isIdentified(in Instrument) bool { return in.Identity != "" }

// couldBe reports whether an old name may be that of in.
func (old *Instrument) couldBe(in *Instrument) bool {
	return in.Name == old.Name || in.base() == old.base() && (old.Strings == in.Strings || old.Strings == 0 || in.Strings == 0)
}

// withOthers adds the other names of what was found: those of the same identity, and old ones without any
// that could be its.
func withOthers(known, found []Instrument) []Instrument {
	for _, isOld := range []bool{false, true} {
		for _, other := range known {
			if isIdentified(other) == isOld || other.Name == "" || slices.Contains(found, other) {
				continue
			}
			if slices.ContainsFunc(found, func(in Instrument) bool {
				return isOld && other.couldBe(&in) || !isOld && in.Identity == other.Identity
			}) {
				found = append(found, other)
			}
		}
	}
	return found
}

// differing names the instruments among those found that cannot be the same.
func differing(found []Instrument) []string {
	var names []string
	for i := range found {
		in := &found[i]
		if in.Identity != "" {
			if !slices.Contains(names, in.Identity) {
				names = append(names, in.Identity)
			}
			continue
		}
		if !slices.ContainsFunc(found, func(x Instrument) bool {
			return x.Identity != "" || x != *in && x.Name < in.Name && x.Strings == in.Strings
		}) {
			names = append(names, in.Name)
		}
	}
	return names
}
