// Command protodeps prints the .proto files that ours import, out of the
// descriptors that the Go modules of those packages carry. So the contract
// compiles with no registry and no copied third-party file.
//
// Usage: protodeps FOLDER
package main

import (
	"fmt"
	"os"
	"strings"

	"github.com/jhump/protoreflect/v2/protoprint"
	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/reflect/protoregistry"

	_ "buf.build/gen/go/bufbuild/protovalidate/protocolbuffers/go/buf/validate"
	_ "github.com/grpc-ecosystem/grpc-gateway/v2/protoc-gen-openapiv3/options"
	_ "google.golang.org/genproto/googleapis/api/annotations"
)

// The well-known types (google/protobuf) are left out: every compiler has them.
var wanted = []string{"google/api/", "buf/validate/", "protoc-gen-openapiv3/"}

func main() {
	if err := run(); err != nil {
		fmt.Fprintln(os.Stderr, "protodeps:", err)
		os.Exit(1)
	}
}

func run() error {
	if len(os.Args) != 2 {
		return fmt.Errorf("usage: protodeps FOLDER")
	}
	var files []protoreflect.FileDescriptor
	protoregistry.GlobalFiles.RangeFiles(func(file protoreflect.FileDescriptor) bool {
		for _, prefix := range wanted {
			if strings.HasPrefix(file.Path(), prefix) {
				files = append(files, file)
			}
		}
		return true
	})
	if err := os.RemoveAll(os.Args[1]); err != nil {
		return err
	}
	return (&protoprint.Printer{}).PrintProtosToFileSystem(files, os.Args[1])
}
