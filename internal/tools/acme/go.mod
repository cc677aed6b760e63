module warmhand/internal/tools/acme

go 1.26.7

require (
	github.com/jackc/pgx/v5 v5.12.0
	github.com/letsencrypt/pebble/v2 v2.10.1
	github.com/miekg/dns v1.1.73
)

require (
	github.com/go-jose/go-jose/v4 v4.1.4 // indirect
	github.com/jackc/pgpassfile v1.0.0 // indirect
	github.com/jackc/pgservicefile v0.0.0-20240606120523-5a60cdf6a761 // indirect
	github.com/letsencrypt/challtestsrv v1.4.2 // indirect
	golang.org/x/net v0.57.0 // indirect
	golang.org/x/sys v0.47.0 // indirect
	golang.org/x/text v0.41.0 // indirect
)
