# Sourced by .ci/run: a throwaway PostgreSQL and Redis on free loopback ports, in a folder that is removed.

free_port() { python3 -c 'import socket; s = socket.socket(); s.bind(("127.0.0.1", 0)); print(s.getsockname()[1])'; }

need() { # program, Debian package
    command -v "$1" >/dev/null || PATH="$PATH:/usr/lib/postgresql/15/bin" command -v "$1" >/dev/null && return
    echo "$1 is not installed; installing Debian's $2"
    { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq "$2"; } >/dev/null
}

start_servers() {
    need initdb postgresql-15
    need redis-server redis-server
    PATH="$PATH:/usr/lib/postgresql/15/bin"
    SERVERS=$(mktemp -d) PG_PORT=$(free_port) REDIS_PORT=$(free_port)
    chmod 755 "$SERVERS"
    local as=()
    if [ "$(id -u)" = 0 ]; then # PostgreSQL refuses to run as root
        install -d -o postgres "$SERVERS/pg"
        as=(setpriv --reuid=postgres --regid=postgres --clear-groups)
    else
        mkdir "$SERVERS/pg"
    fi
    (cd "$SERVERS" && "${as[@]}" initdb -D "$SERVERS/pg" -U postgres -A trust --no-sync >/dev/null)
    (cd "$SERVERS" && exec "${as[@]}" postgres -D "$SERVERS/pg" -h 127.0.0.1 -p "$PG_PORT" -k "$SERVERS/pg" -F \
        >"$SERVERS/pg/log" 2>&1) &
    PG_PID=$!
    redis-server --bind 127.0.0.1 --port "$REDIS_PORT" --save '' --dir "$SERVERS" >/dev/null &
    REDIS_PID=$!
    for _ in $(seq 100); do
        pg_isready -q -h 127.0.0.1 -p "$PG_PORT" && break
        sleep 0.2
    done
    pg_isready -h 127.0.0.1 -p "$PG_PORT"
    createdb -h 127.0.0.1 -p "$PG_PORT" -U postgres studio
    export DATABASE_URL="postgres://postgres@127.0.0.1:$PG_PORT/studio" REDIS_URL="redis://127.0.0.1:$REDIS_PORT/0"
}

stop_servers() {
    kill "$PG_PID" "$REDIS_PID" 2>/dev/null || true
    wait "$PG_PID" "$REDIS_PID" 2>/dev/null || true
    rm -rf "$SERVERS"
}
