#!/bin/sh
# Assembles a container image from the PostgreSQL that Debian installed on this machine,
# for the tests where no registry can be reached:
#
#   apt-get install postgresql docker.io
#   dockerd &
#   internal/store/storetest/image.sh onetrip-postgres
#   ONETRIP_TEST_POSTGRES_IMAGE=onetrip-postgres TESTCONTAINERS_RYUK_DISABLED=true go test ./internal/store
#
# The image does what the tests need of the image postgres: it makes a cluster at its
# start with the user POSTGRES_USER and the database POSTGRES_DB. Anyone who reaches the
# container may log in: it is for tests on this machine only.
set -eu
name=${1:?usage: image.sh NAME}
bin=$(ls -d /usr/lib/postgresql/*/bin | sort -V | tail -n 1)
version=$(basename "$(dirname "$bin")")
root=$(mktemp -d)
trap 'rm -rf "$root"' EXIT

mkdir -p "$root/etc" "$root/tmp" "$root/bin" "$root/var/lib/postgresql"
chmod 755 "$root"
chmod 1777 "$root/tmp"
printf 'root:x:0:0:root:/:/bin/sh\npostgres:x:999:999:postgres:/var/lib/postgresql:/bin/sh\n' > "$root/etc/passwd"
printf 'root:x:0:\npostgres:x:999:\n' > "$root/etc/group"

# Programs, and the libraries they load; links are followed, so that nothing points out.
programs="$(command -v sh) $(command -v setpriv) $(command -v chown) $(command -v mkdir) $(command -v cat)"
libraries=$(ldd $programs "$bin"/* "/usr/lib/postgresql/$version/lib"/*.so 2>/dev/null | grep -o '/[^ :]*\.so[^ :]*' | grep -v "^/usr/lib/postgresql/" | sort -u)
tar -C / -chf - "usr/lib/postgresql/$version" "usr/share/postgresql/$version" usr/share/zoneinfo $(echo "$programs" "$libraries" | sed 's|/\([^ ]*\)|\1|g') | tar -C "$root" -xf -
[ -e "$root/bin/sh" ] || cp -L "$(command -v sh)" "$root/bin/sh"

cat > "$root/start" <<'START'
#!/bin/sh
set -eu
data=/var/lib/postgresql/data
mkdir -p $data
chown -R postgres:postgres /var/lib/postgresql
as='setpriv --reuid=postgres --regid=postgres --clear-groups'
$as initdb --pgdata $data --username "$POSTGRES_USER" --auth trust --encoding UTF8 --locale C --no-sync
echo 'host all all all trust' >> $data/pg_hba.conf
echo "CREATE DATABASE $POSTGRES_DB" | $as postgres --single -D $data postgres
exec $as postgres -D $data -c 'listen_addresses=*' -c unix_socket_directories=/tmp -c fsync=off -c max_connections=200
START
chmod +x "$root/start"

tar -C "$root" -c . | docker import \
	--change "ENV PATH=$bin:/usr/local/bin:/usr/bin:/bin PGHOST=/tmp" --change 'EXPOSE 5432' --change 'ENTRYPOINT ["/start"]' - "$name"
