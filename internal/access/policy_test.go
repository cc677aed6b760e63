package access

import (
	"testing"

	"warmhand/internal/care"
)

func TestPolicy(t *testing.T) {
	t.Parallel()
	p := Policy{
		"/w/Open":   Anyone().Reads(),
		"/w/Claim":  Anyone(),
		"/w/List":   Allow(care.BreederOwner, care.Helper, care.Program).Reads(),
		"/w/Record": Allow(care.BreederOwner, care.Helper, care.Program),
		"/w/Users":  Allow(care.BreederOwner),
		"/w/Mine":   Allow(care.KeeperActor),
		"/w/Log":    Allow(care.BreederOwner, care.Helper, care.KeeperActor),
	}
	who := map[string]care.Actor{
		"nobody": {},
		"owner":  {Kind: care.BreederOwner, BreederID: "b", UserID: "u"},
		"helper": {Kind: care.Helper, BreederID: "b", UserID: "v"},
		"keeper": {Kind: care.KeeperActor, KeeperID: "k"},
		"writes": {Kind: care.Program, BreederID: "b", UserID: "t"},
		"reads":  {Kind: care.Program, BreederID: "b", UserID: "t", ReadOnly: true},
		"itself": {Kind: care.Service, BreederID: "b"},
	}
	// y: may, s: has to sign in, n: may not.
	for method, line := range map[string]map[string]byte{
		"/w/Open":    {"nobody": 'y', "owner": 'y', "helper": 'y', "keeper": 'y', "writes": 'y', "reads": 'y', "itself": 'y'},
		"/w/Claim":   {"nobody": 'y', "owner": 'y', "helper": 'y', "keeper": 'y', "writes": 'y', "reads": 'n', "itself": 'y'},
		"/w/List":    {"nobody": 's', "owner": 'y', "helper": 'y', "keeper": 'n', "writes": 'y', "reads": 'y', "itself": 'n'},
		"/w/Record":  {"nobody": 's', "owner": 'y', "helper": 'y', "keeper": 'n', "writes": 'y', "reads": 'n', "itself": 'n'},
		"/w/Users":   {"nobody": 's', "owner": 'y', "helper": 'n', "keeper": 'n', "writes": 'n', "reads": 'n', "itself": 'n'},
		"/w/Mine":    {"nobody": 's', "owner": 'n', "helper": 'n', "keeper": 'y', "writes": 'n', "reads": 'n', "itself": 'n'},
		"/w/Log":     {"nobody": 's', "owner": 'y', "helper": 'y', "keeper": 'y', "writes": 'n', "reads": 'n', "itself": 'n'},
		"/w/Unknown": {"nobody": 's', "owner": 'n', "helper": 'n', "keeper": 'n', "writes": 'n', "reads": 'n', "itself": 'n'},
	} {
		for name, want := range line {
			err := p.Check(method, who[name])
			switch want {
			case 'y':
				if err != nil {
					t.Errorf("%s by %s: %v", method, name, err)
				}
			case 's':
				wantError(t, err, care.Unauthenticated, care.ReasonSignInNeeded)
			case 'n':
				wantError(t, err, care.Denied, care.ReasonNotYours)
			}
		}
	}
}
