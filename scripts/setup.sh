#!/usr/bin/env bash
# Makes .venv in this folder and installs treescan into it; `setup.sh dev` adds what the tests need.
# System libraries: installed by apt where we may (root, or sudo without a password), else named in one sentence.
set -euo pipefail
cd "$(dirname "$0")/.."
extra="${1:-}"

find_python() {
    for name in ${PYTHON:-} python3 python3.13 python3.12 python3.11 python3.14; do
        if command -v "$name" >/dev/null 2>&1 && "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            echo "$name"; return 0
        fi
    done
    return 1
}

python=$(find_python) || { echo "treescan needs Python 3.11 or newer; on Debian or Ubuntu: sudo apt-get install python3 python3-venv" >&2; exit 1; }

# What open3d loads (libusb, EGL, GL, X11, OpenMP) and, for the tests of the report page, a browser and PDF tools.
packages=()
has_library() { ldconfig -p 2>/dev/null | grep -q "$1" || [ -n "$(find /usr/lib /lib -name "$1*" -print -quit 2>/dev/null)" ]; }
if [ "$(uname -s)" = Linux ]; then
    has_library libusb-1.0.so.0 || packages+=(libusb-1.0-0)
    has_library libEGL.so.1 || packages+=(libegl1)
    has_library libGL.so.1 || packages+=(libgl1)
    has_library libX11.so.6 || packages+=(libx11-6)
    has_library libgomp.so.1 || packages+=(libgomp1)
fi
"$python" -c 'import ensurepip, venv' 2>/dev/null || packages+=("$("$python" -c 'import sys; print(f"python{sys.version_info[0]}.{sys.version_info[1]}-venv")')")
if [ "$extra" = dev ]; then
    command -v chromium >/dev/null 2>&1 || command -v chromium-browser >/dev/null 2>&1 || command -v google-chrome >/dev/null 2>&1 || packages+=(chromium)
    command -v pdftotext >/dev/null 2>&1 || packages+=(poppler-utils)
fi
if [ ${#packages[@]} -gt 0 ]; then
    admin=""
    if [ "$(id -u)" -ne 0 ]; then admin="sudo -n"; fi
    if command -v apt-get >/dev/null 2>&1 && { [ -z "$admin" ] || $admin true 2>/dev/null; }; then
        echo "Installing system packages: ${packages[*]}"
        $admin env DEBIAN_FRONTEND=noninteractive apt-get update -qq || true
        for package in "${packages[@]}"; do
            $admin env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq --no-install-recommends "$package" >/dev/null \
                || echo "Could not install $package; please run: sudo apt-get install $package" >&2
        done
    else
        echo "These system packages are missing; please run: sudo apt-get install ${packages[*]}" >&2
    fi
fi

if [ ! -x .venv/bin/python ]; then
    "$python" -m venv .venv || { echo "No virtual environment could be made; on Debian or Ubuntu: sudo apt-get install python3-venv" >&2; exit 1; }
fi
echo "Installing treescan and its libraries into .venv (about 2 GB, a few minutes the first time)"
if [ "$extra" = dev ]; then target=".[dev]"; else target="."; fi
.venv/bin/python -m pip install --quiet --disable-pip-version-check --editable "$target"

# Stored machine code does not notice a change of a function it calls in another file: after any change it is made anew, here and not
# in the first plan: a sample is planned for it, and its results thrown away.
stamp=.venv/compiled_for
if [ ! -e "$stamp" ] || [ -n "$(find treescan -name '*.py' -newer "$stamp" -print -quit 2>/dev/null)" ]; then
    find treescan \( -name '*.nbi' -o -name '*.nbc' \) -delete 2>/dev/null || true
    echo "Compiling the numeric code, once: a sample scan is planned (three to five minutes on two cores)"
    made=$(mktemp -d)
    .venv/bin/treescan plan sample_clouds/marl_steps_slope.laz -o "$made/plan" >"$made/said" || { cat "$made/said" >&2; rm -rf "$made"; exit 1; }
    rm -rf "$made"
    touch "$stamp"
fi
