#!/bin/bash
# with-postgres.sh COMMAND... runs COMMAND with WARMHAND_TEST_POSTGRES naming a
# PostgreSQL server of its own, which is gone afterwards. A server that the
# variable names already is used as it is.
set -euo pipefail
[ -n "${WARMHAND_TEST_POSTGRES:-}" ] && exec "$@"

bin=$(ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -1 || true)
[ -n "$bin" ] || bin=$(dirname "$(command -v initdb)")
dir=$(mktemp -d /tmp/warmhand-pg.XXXXXX) # short: a socket's path has little room

# PostgreSQL refuses to run as root.
as=()
if [ "$(id -u)" = 0 ]; then
  as=(runuser -u postgres --)
  chown postgres "$dir"
fi

stop() {
  "${as[@]}" "$bin/pg_ctl" -D "$dir/data" -m immediate -w stop >/dev/null 2>&1 || true
  rm -rf "$dir"
}
trap stop EXIT
trap 'exit 130' INT
trap 'exit 143' TERM HUP

cd "$dir"
"${as[@]}" "$bin/initdb" -D "$dir/data" -U warmhand -A trust -E UTF8 --locale=C >"$dir/initdb.log" 2>&1 ||
  { cat "$dir/initdb.log" >&2; exit 1; }
# A port is free until somebody takes it: where the start fails, try another.
for try in 1 2 3 4 5; do
  port=$((20000 + RANDOM % 10000))
  if "${as[@]}" "$bin/pg_ctl" -D "$dir/data" -w -l "$dir/log" \
    -o "-p $port -c listen_addresses=127.0.0.1 -c unix_socket_directories=$dir -c max_connections=200" start >/dev/null; then
    break
  fi
  [ "$try" != 5 ] || { cat "$dir/log" >&2; exit 1; }
done
cd "$OLDPWD"

# The program's role owns what it makes and is no superuser, which the separation
# of breeders by the database would not hold for.
"${as[@]}" "$bin/psql" -q -h "$dir" -p "$port" -U warmhand -d postgres -c 'CREATE ROLE snakes LOGIN; GRANT CREATE ON DATABASE postgres TO snakes' >/dev/null
export WARMHAND_TEST_POSTGRES="postgres://snakes@127.0.0.1:$port/postgres?sslmode=disable"
# In the background, so that a signal is heard while it runs.
"$@" <&0 &
child=$!
trap 'kill -TERM $child 2>/dev/null; wait $child 2>/dev/null; exit 130' INT TERM HUP
wait $child
