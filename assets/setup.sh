# Sourced by tests/run.sh and assets/try.sh: make the environment .venv at the root, and find what the system lacks.
# Works with nothing but bash, python3 and apt; does nothing when there is nothing to do.

root=$(cd -- "$(dirname -- "${BASH_SOURCE[0]}")/.." && pwd)
venv=$root/.venv

say() { printf '%s\n' "$*" >&2; }

# The newest python3 from 3.11 on, or $PYTHON when the person names one.
find_python() {
    local candidate
    for candidate in ${PYTHON:+"$PYTHON"} python3 python3.14 python3.13 python3.12 python3.11; do
        if command -v "$candidate" >/dev/null &&
            "$candidate" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            command -v "$candidate"
            return
        fi
    done
    say "Librarian needs Python 3.11 or later, and none was found. Install it, or name one: PYTHON=/path/to/python3"
    return 1
}

# Shared libraries that Qt and python-rtmidi need from the system, each with its Debian package. They are asked for by
# loading them, so it does not matter how another system names its packages.
libraries="
libEGL.so.1 libegl1
libGL.so.1 libgl1
libX11-xcb.so.1 libx11-xcb1
libasound.so.2 libasound2
libdbus-1.so.3 libdbus-1-3
libfontconfig.so.1 libfontconfig1
libglib-2.0.so.0 libglib2.0-0
libxcb-cursor.so.0 libxcb-cursor0
libxcb-icccm.so.4 libxcb-icccm4
libxcb-image.so.0 libxcb-image0
libxcb-keysyms.so.1 libxcb-keysyms1
libxcb-randr.so.0 libxcb-randr0
libxcb-render-util.so.0 libxcb-render-util0
libxcb-shape.so.0 libxcb-shape0
libxcb-sync.so.1 libxcb-sync1
libxcb-xfixes.so.0 libxcb-xfixes0
libxcb-xkb.so.1 libxcb-xkb1
libxkbcommon-x11.so.0 libxkbcommon-x11-0
"

# Prints the Debian names of what is missing, one a line. $1: python; further words: commands needed besides.
missing_packages() {
    local python=$1 command
    shift
    "$python" - "$libraries" <<'PROBE'
import ctypes, sys
words = sys.argv[1].split()
for library, package in zip(words[::2], words[1::2]):
    try:
        ctypes.CDLL(library)
    except OSError:
        print(package)
PROBE
    "$python" -c 'import ensurepip, venv' 2>/dev/null || echo python3-venv
    # Without a font Qt draws boxes.
    [ -n "$(find -L /usr/share/fonts /usr/local/share/fonts "${HOME:-/root}/.fonts" "${HOME:-/root}/.local/share/fonts" \
        \( -name '*.ttf' -o -name '*.otf' \) -print -quit 2>/dev/null)" ] || echo fonts-dejavu-core
    for command in "$@"; do
        command -v "$command" >/dev/null && continue
        case $command in
        jackd) echo jackd2 ;;
        Xvfb) echo xvfb ;;
        *) echo "$command" ;;
        esac
    done
}

# Installs what is missing, or says the one line to run and fails. $1: python; further words: commands needed besides.
provide_packages() {
    local missing sudo=() package names=()
    missing=$(missing_packages "$@")
    [ -n "$missing" ] || return 0
    if ! command -v apt-get >/dev/null; then
        say "These Debian packages (or what your system calls them) are missing, and there is no apt-get here:"
        say "    ${missing//$'\n'/ }"
        return 1
    fi
    if [ "$(id -u)" != 0 ]; then
        if command -v sudo >/dev/null && { sudo -n true 2>/dev/null || [ -t 0 ]; }; then
            sudo=(sudo)
        else
            local administrator="su -c"
            if command -v sudo >/dev/null; then administrator="sudo sh -c"; fi
            say "Some system packages are missing, and installing them needs an administrator. Run this once:"
            say "    $administrator 'apt-get update && apt-get install --no-install-recommends ${missing//$'\n'/ }'"
            return 1
        fi
    fi
    say "Installing system packages: ${missing//$'\n'/ }"
    "${sudo[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -q -o DPkg::Lock::Timeout=300 update >&2
    for package in $missing; do
        # Since 64-bit time_t some libraries carry t64 at the end of their names.
        if apt-cache show "${package}t64" >/dev/null 2>&1; then package+=t64; fi
        names+=("$package")
    done
    "${sudo[@]}" env DEBIAN_FRONTEND=noninteractive apt-get -q -o DPkg::Lock::Timeout=300 \
        install -y --no-install-recommends "${names[@]}" >&2
    missing=$(missing_packages "$@")
    [ -z "$missing" ] || { say "Still missing after installing: ${missing//$'\n'/ }"; return 1; }
}

# Makes or renews .venv. $1: python; $2: extras of pyproject.toml to install, e.g. "tests,tools", or empty.
# .venv/made-from remembers what it was made from: the place and the Python (another one: made anew), pyproject.toml
# (changed: installed again), the extras.
provide_environment() {
    local python=$1 extras=$2 place made=$venv/made-from recipe before=()
    place="$root $("$python" -c 'import sys; print(sys.version.split()[0], sys.base_prefix)')"
    recipe=$(sha256sum <"$root/pyproject.toml")
    (
        flock 9 # another run from the same tree waits here, then finds everything done
        [ ! -f "$made" ] || mapfile -t before <"$made"
        [ -n "$extras" ] || extras=${before[2]-} # the program alone needs no extras, but keeps those that are there
        if [ "${before[0]-}" = "$place" ] && [ "${before[1]-}" = "$recipe" ] && [ "${before[2]-}" = "$extras" ]; then
            exit 0
        fi
        say "Making the environment .venv (some 400 MB the first time: several minutes, without a word) ..."
        rm -f "$made"
        if [ -d "$venv" ] && { [ "${before[0]-$place}" != "$place" ] ||
            ! "$venv/bin/python" -m pip --version >/dev/null 2>&1; }; then
            rm -rf "$venv"
        fi
        [ -d "$venv" ] || "$python" -m venv "$venv" >&2
        "$venv/bin/python" -m pip install --quiet --disable-pip-version-check \
            --editable "$root${extras:+[$extras]}" >&2
        printf '%s\n' "$place" "$recipe" "$extras" >"$made"
    ) 9<"$root"
}

# Everything: $1 extras; further words: commands needed besides the libraries.
provide() {
    local extras=$1 python
    shift
    python=$(find_python)
    provide_packages "$python" "$@"
    provide_environment "$python" "$extras"
}
