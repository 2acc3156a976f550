#!/usr/bin/env bash
# Try the program, nothing connected, nothing of yours touched:     bash assets/try.sh
# In the terminal whatever the display, the picture into FILE:     bash assets/try.sh FILE
#
# Makes the environment, then starts the program on a throw-away library of demo sounds, with both demo instruments
# (simulated) at the other end of a simulated cable. With a display: the window. Without one: the whole job in the
# terminal, each step with its proof, and a picture of the window.
set -euo pipefail
source "$(dirname -- "${BASH_SOURCE[0]}")/setup.sh"
provide ""

if [ $# = 0 ] && [ -n "${DISPLAY-}${WAYLAND_DISPLAY-}" ]; then
    exec "$venv/bin/librarian" window --demo
else
    picture=${1-${TMPDIR:-/tmp}/librarian-window-$(id -un).png}
    QT_QPA_PLATFORM=offscreen exec "$venv/bin/librarian" demo --picture "$picture"
fi
