module warmhand/internal/tools/acme

go 1.26.7

require (
	github.com/letsencrypt/pebble/v2 v2.10.1
	github.com/miekg/dns v1.1.73
)

require (
	github.com/go-jose/go-jose/v4 v4.1.4 // indirect
	github.com/letsencrypt/challtestsrv v1.4.2 // indirect
	golang.org/x/net v0.57.0 // indirect
	golang.org/x/sys v0.47.0 // indirect
)
