# Sourced by ./try and ./check: installs the Debian packages of the named groups that are missing.
# Says what it does; fails with a sentence.

say() {
    printf '%s\n' "== $*"
}

fail() {
    printf '%s\n' "$(basename "$0"): $*" >&2
    exit 1
}

install_packages() {
    local group missing=() package
    for group in "$@"; do
        while read -r package; do
            dpkg-query -W -f '${Status}' "$package" 2>/dev/null | grep -q 'ok installed' || missing+=("$package")
        done < <(awk -v g="$group" '$1 == g {print $2}' packages.txt)
    done
    [ ${#missing[@]} -gt 0 ] || return 0
    command -v apt-get >/dev/null || fail "these packages are missing and apt-get is not here to bring them: ${missing[*]}. Install them by hand and run this again."
    local as_root=()
    if [ "$(id -u)" != 0 ]; then
        command -v sudo >/dev/null || fail "these packages are missing: ${missing[*]}. Install them as root and run this again."
        as_root=(sudo)
    fi
    say "installing ${missing[*]}"
    "${as_root[@]}" apt-get update -qq || fail "the list of packages could not be fetched. Check the network and the package mirror, then run this again."
    DEBIAN_FRONTEND=noninteractive "${as_root[@]}" apt-get install -y -qq --no-install-recommends "${missing[@]}" >/dev/null ||
        fail "the packages could not be installed. Read apt-get's message above, then run this again."
}

# build_in FOLDER SETUP-OPTIONS...: configures once and builds.
build_in() {
    local folder=$1
    shift
    if [ -f "$folder/build.ninja" ]; then
        meson configure "$folder" "$@" >/dev/null || fail "meson could not configure $folder. Remove that folder and run this again."
    else
        meson setup "$folder" "$@" >/dev/null || fail "meson could not set up $folder: see $folder/meson-logs/meson-log.txt."
    fi
    ninja -C "$folder" --quiet || fail "the build in $folder failed: the compiler's message stands above."
}

# The page's packages, once for each lock file. Without Node.js or npm, or without a way to fetch them, the program is
# built without its page and says so: everything on the command line works all the same.
fetch_page_packages() {
    local lock
    if ! { command -v node && command -v npm; } >/dev/null; then
        (install_packages page) || say "Node.js and npm could not be installed"
    fi
    if ! { command -v node && command -v npm; } >/dev/null; then
        say "the program is built without its page, for want of Node.js and npm"
        return 0
    fi
    lock=$(sha256sum web/package-lock.json | cut -d' ' -f1)
    [ "$(cat web/node_modules/.stamp 2>/dev/null || true)" != "$lock" ] || return 0
    say "fetching the page's packages"
    if (cd web && npm ci --no-audit --no-fund --ignore-scripts --loglevel=error >/dev/null); then
        printf '%s' "$lock" >web/node_modules/.stamp
    else
        say "the page's packages could not be fetched; the program is built without its page. Check the network, then run this again"
    fi
}
