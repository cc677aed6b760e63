// Package phototest has an S3 store for tests.
package phototest

import (
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"testing"

	"github.com/johannesboyne/gofakes3"
	"github.com/johannesboyne/gofakes3/backend/s3afero"
	"github.com/johannesboyne/gofakes3/backend/s3mem"
)

// The S3 client takes its keys from the environment only.
func init() {
	for name, value := range map[string]string{"AWS_ACCESS_KEY_ID": "test", "AWS_SECRET_ACCESS_KEY": "test", "AWS_EC2_METADATA_DISABLED": "true"} {
		if err := os.Setenv(name, value); err != nil {
			panic(err)
		}
	}
}

// S3 starts a general-purpose S3 server with one empty bucket, and returns the
// address of a folder in it for photo.OpenBucket. before may answer a request in
// the server's place; it may be nil.
func S3(t testing.TB, before func(w http.ResponseWriter, r *http.Request) (done bool)) (address string) {
	t.Helper()
	store := s3mem.New()
	if err := store.CreateBucket(bucket); err != nil {
		t.Fatal(err)
	}
	inner := gofakes3.New(store, gofakes3.WithLogger(gofakes3.DiscardLog())).Server()
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if before == nil || !before(w, r) {
			inner.ServeHTTP(w, r)
		}
	}))
	t.Cleanup(srv.Close)
	return Address(srv.URL)
}

const bucket = "pictures"

// Address is the address of a folder in the bucket of a server, for photo.OpenBucket.
func Address(endpoint string) string {
	return "s3://" + bucket + "/of/snakes?region=eu-central-1&use_path_style=true&endpoint=" + url.QueryEscape(endpoint)
}

// BucketEnv names a folder when a process of the tests is to be a bucket's server, which
// can be killed: its TestMain calls ServeBucket.
const BucketEnv = "WARMHAND_TEST_BUCKET"

// ServeBucket is a server of its own with one bucket in a folder, which outlives it. It
// prints its address and serves until it is killed. (The store in one file that the
// library has too hands out memory of that file's map, and dies when the map moves.)
func ServeBucket(folder string) error {
	files, err := s3afero.FsPath(folder, s3afero.FsPathCreateAll)
	if err != nil {
		return err
	}
	store, err := s3afero.MultiBucket(files)
	if err != nil {
		return err
	}
	if there, err := store.BucketExists(bucket); err != nil {
		return err
	} else if !there {
		if err := store.CreateBucket(bucket); err != nil {
			return err
		}
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	fmt.Println(l.Addr())
	return http.Serve(l, gofakes3.New(store, gofakes3.WithLogger(gofakes3.DiscardLog())).Server())
}
