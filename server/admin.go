package server

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"warmhand/internal/access"
	"warmhand/internal/care"
	"warmhand/internal/casefile"
	"warmhand/internal/followup"
	"warmhand/internal/photo"
	"warmhand/internal/store"
)

// Admin is what the owner of the machine does to the data without going through
// the network: accounts, tokens, backups. On SQLite it works beside a running
// server, because either side waits for the other's writes.
type Admin struct {
	data  Data
	store *store.Store
	now   func() time.Time
}

// Data says where data are: in a folder, and what a server keeps elsewhere; see
// Config.
type Data struct{ Dir, DatabaseURL, PhotosURL string }

// photos opens where the pictures are. close is to be called in the end.
func (d Data) photos(ctx context.Context) (blobs photo.Blobs, close func() error, err error) {
	if d.PhotosURL != "" {
		bucket, err := photo.OpenBucket(ctx, d.PhotosURL)
		if err != nil {
			return nil, nil, err
		}
		return bucket, bucket.Close, nil
	}
	folder, err := photo.OpenFolder(filepath.Join(d.Dir, photosDir))
	if err != nil {
		return nil, nil, fmt.Errorf("opening the photos: %w", err)
	}
	return folder, func() error { return nil }, nil
}

// OpenAdmin opens the data. With create a missing folder is made, otherwise
// it is an error.
func OpenAdmin(ctx context.Context, data Data, create bool) (*Admin, error) {
	if !create {
		mark := databaseFile
		if data.DatabaseURL != "" {
			mark = "" // the folder itself
		}
		if _, err := os.Stat(filepath.Join(data.Dir, mark)); errors.Is(err, fs.ErrNotExist) {
			return nil, fmt.Errorf("there are no data in %s: check the folder's name, or make a breeder there first", data.Dir)
		} else if err != nil {
			return nil, err
		}
	}
	st, err := store.Open(ctx, store.Config{URL: data.DatabaseURL, Dir: data.Dir})
	if err != nil {
		return nil, err
	}
	return &Admin{data, st.Everything(), time.Now}, nil
}

// Close closes the database.
func (a *Admin) Close() error { return a.store.Close() }

// AddBreeder makes an account with its owner and returns its id and the secret
// of a link that signs the owner in once, within 15 minutes.
func (a *Admin) AddBreeder(ctx context.Context, b care.Breeder) (id, secret string, err error) {
	b.ID = strings.ToLower(rand.Text()[:12])
	if _, err := addBreeder(ctx, a.store, a.now(), b, "Owner"); err != nil {
		return "", "", err
	}
	secret, err = a.SignInSecret(ctx, b.ID)
	return b.ID, secret, err
}

// SignInSecret is the secret of a new link for the owner of an account.
func (a *Admin) SignInSecret(ctx context.Context, breederID string) (secret string, err error) {
	err = a.store.Write(ctx, func(tx care.Tx) error {
		who, err := ownerOf(tx, breederID)
		if err != nil {
			return err
		}
		secret, _, err = access.NewSignInLink(tx, who, a.now())
		return err
	})
	return secret, err
}

// Token makes an API token of a breeder for some days.
func (a *Admin) Token(ctx context.Context, breederID, label string, readOnly bool, days int) (plain string, err error) {
	err = a.store.Write(ctx, func(tx care.Tx) error {
		who, err := ownerOf(tx, breederID)
		if err != nil {
			return err
		}
		plain, _, err = access.NewToken(tx, who, label, readOnly, time.Duration(days)*24*time.Hour, a.now())
		return err
	})
	return plain, err
}

// ExportCases writes cases of a breeder as case files, all of them when none is
// named, and returns how many. Handovers that were revoked are left out.
func (a *Admin) ExportCases(ctx context.Context, out io.Writer, breederID string, cases []string, texts bool) (n int, err error) {
	who := care.Actor{Kind: care.Service, BreederID: breederID}
	uses := followup.New(a.store, nil, nil)
	named := len(cases) > 0
	if !named {
		if err := a.store.Read(ctx, func(tx care.Tx) error { _, err := ownerOf(tx, breederID); return err }); err != nil {
			return 0, err
		}
		if cases, err = casesOf(ctx, a.store, breederID); err != nil {
			return 0, err
		}
	}
	return writeCases(ctx, out, uses, who, breederID, cases, texts, !named)
}

// writeCases writes cases as case files and returns how many. With passRevoked,
// handovers that were revoked are left out; else they are an error.
func writeCases(ctx context.Context, out io.Writer, uses *followup.Service, who care.Actor, breederID string, cases []string, texts, passRevoked bool) (n int, err error) {
	var text []byte
	for _, id := range cases {
		lines, err := uses.ExportCase(ctx, who, breederID, id, texts)
		if care.IsCode(err, care.Precondition) && passRevoked {
			continue
		}
		if err != nil {
			return n, fmt.Errorf("case %s: %w", id, err)
		}
		text = text[:0]
		for i := range lines {
			if text, err = casefile.Append(text, &lines[i]); err != nil {
				return n, err
			}
		}
		if _, err := out.Write(text); err != nil {
			return n, fmt.Errorf("output: %w", err)
		}
		n++
	}
	return n, nil
}

// casesOf are the ids of a breeder's cases, in order.
func casesOf(ctx context.Context, st care.Store, breederID string) (ids []string, err error) {
	err = st.Read(ctx, func(tx care.Tx) error {
		ids = nil
		return care.EachPage(func(after care.Cursor) (care.Cursor, error) {
			list, next, err := tx.ListCases(breederID, care.CaseQuery{}, after, 500)
			for _, c := range list {
				ids = append(ids, c.ID)
			}
			return next, err
		})
	})
	slices.Sort(ids)
	return ids, err
}

// ImportCases adds the cases of a case file to a breeder's book, all or none;
// see followup.Service.ImportCases.
func (a *Admin) ImportCases(ctx context.Context, in io.Reader, breederID string) (followup.Imported, error) {
	cases, err := casefile.ReadAll(in)
	if err != nil {
		return followup.Imported{}, err
	}
	if err := a.store.Read(ctx, func(tx care.Tx) error { _, err := ownerOf(tx, breederID); return err }); err != nil {
		return followup.Imported{}, err
	}
	return followup.New(a.store, nil, nil).ImportCases(ctx, care.Actor{Kind: care.Service, BreederID: breederID}, a.now(), breederID, cases)
}

func ownerOf(tx care.Tx, breederID string) (care.Actor, error) {
	users, err := tx.ListUsers(breederID)
	if err != nil {
		return care.Actor{}, err
	}
	for _, u := range users {
		if u.Role == care.BreederOwner {
			return care.Actor{Kind: care.BreederOwner, BreederID: breederID, UserID: u.ID}, nil
		}
	}
	return care.Actor{}, fmt.Errorf("there is no breeder %q here: the id is the one that \"warmhand breeder\" printed", breederID)
}

// addBreeder makes an account with its first user.
func addBreeder(ctx context.Context, st care.Store, now time.Time, b care.Breeder, owner string) (care.Actor, error) {
	if b.Name = strings.TrimSpace(b.Name); b.Name == "" {
		return care.Actor{}, errors.New("the breeder's name is empty: give the name that keepers are to see")
	}
	if _, err := time.LoadLocation(b.TimeZone); err != nil || b.TimeZone == "" {
		return care.Actor{}, fmt.Errorf("%q is not a time zone: write one like Europe/Vienna", b.TimeZone)
	}
	if b.Hemi != care.North && b.Hemi != care.South {
		return care.Actor{}, fmt.Errorf("%q is not a hemisphere: write north or south", b.Hemi)
	}
	b.CreatedAt, b.Version = care.Instant(now), 1
	u := care.User{BreederID: b.ID, ID: b.ID + "-owner", Name: owner, Role: care.BreederOwner, CreatedAt: b.CreatedAt}
	err := st.Write(ctx, func(tx care.Tx) error {
		if err := tx.InsertBreeder(b); err != nil {
			return err
		}
		return tx.InsertUser(u)
	})
	return u.Actor(), err
}
