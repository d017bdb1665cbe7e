#!/bin/sh
# SPDX-License-Identifier: Apache-2.0
# Installs what Steadyrail needs on Debian 12, as root or through sudo, and fetches nanopb's C sources.
# `sh host/setup.sh` for building and running, `sh host/setup.sh --tests` for the tests as well. Does nothing, fast,
# when everything is there. Prints one line on stdout: the folder for -DNANOPB_DIR. Everything else goes to stderr.
set -eu

root=$(CDPATH='' cd -- "$(dirname -- "$0")/.." && pwd)
deps=$root/.build/deps
nanopb_version=0.4.7
packages="g++ cmake ninja-build pkg-config protobuf-compiler libprotobuf-dev python3-protobuf libserialport-dev
          libboost1.81-dev libfmt-dev libcli11-dev libssl-dev nanopb ca-certificates dpkg-dev"
test_packages="libgtest-dev libgmock-dev libbenchmark-dev python3-numpy ngspice clang-format-19 clang-tidy-19
               gcc-arm-none-eabi libnewlib-arm-none-eabi libstdc++-arm-none-eabi-newlib qemu-system-arm"

say() { printf '%s\n' "$*" >&2; }
stop() {
  say "setup: $*"
  exit 3
}

as_root() {
  if [ "$(id -u)" -eq 0 ]; then
    "$@"
  elif command -v sudo >/dev/null 2>&1; then
    sudo "$@"
  else
    stop "packages are missing ($missing) and this is neither root nor is there sudo. As root: apt-get install $missing"
  fi
}

# Packages of the list that are not installed.
missing_of() {
  installed=$(dpkg-query -W -f '${db:Status-Abbrev} ${Package}\n' "$@" 2>/dev/null | sed -n 's/^ii *//p' || true)
  for package in "$@"; do
    printf '%s\n' "$installed" | grep -qxF -- "$package" || printf '%s ' "$package"
  done
}

install_packages() {
  say "setup: installing $missing"
  as_root env DEBIAN_FRONTEND=noninteractive apt-get -q update >&2 ||
    say "setup: apt-get update complained; going on with the lists there are"
  # Without --no-remove apt would silently take away, for one, another version of Boost.
  as_root env DEBIAN_FRONTEND=noninteractive apt-get -q install -y --no-install-recommends --no-remove $missing >&2 ||
    stop "apt-get could not install $missing (see above). Where it would have to remove packages (another libboost-dev,
python3-scipy), remove them yourself or use a container of Debian 12."
}

# Debian packages nanopb's generator and headers, not its three C files; those come from the source package, by a private
# source list so that nothing of the system's configuration changes.
nanopb_sources() {
  nanopb=$deps/nanopb-$nanopb_version
  for file in pb.h pb_common.c pb_encode.c pb_decode.c; do
    [ -f "$nanopb/$file" ] || return 1
  done
  grep -q "nanopb-$nanopb_version" "$nanopb/pb.h"
}

fetch_nanopb() {
  say "setup: fetching the sources of nanopb $nanopb_version"
  mkdir -p "$deps/lists/partial" "$deps/cache/archives/partial"
  mirror=$(cat /etc/apt/sources.list /etc/apt/sources.list.d/* 2>/dev/null |
    sed -n 's#^\(URIs:\|deb\) *\(\[[^]]*\] *\)\{0,1\}\(https\{0,1\}://[^ ]*/debian/\{0,1\}\)\( .*\)\{0,1\}$#\3#p' | head -n 1)
  keyring=/usr/share/keyrings/debian-archive-keyring.gpg
  trust=
  [ ! -r "$keyring" ] || trust="[signed-by=$keyring]"
  printf 'deb-src %s %s bookworm main\n' "$trust" "${mirror:-http://deb.debian.org/debian}" >"$deps/sources.list"
  set -- -q -o "Dir::Etc::SourceList=$deps/sources.list" -o Dir::Etc::SourceParts=/dev/null \
    -o "Dir::State::Lists=$deps/lists" -o "Dir::Cache=$deps/cache" -o APT::Sandbox::User= -o APT::Get::List-Cleanup=0
  apt-get "$@" update >&2 || stop "apt-get could not read the source list of Debian 12 (see above)"
  rm -rf "$nanopb"  # what an interrupted run left; dpkg-source does not unpack over it
  (cd "$deps" && apt-get "$@" source nanopb >&2) || stop "apt-get could not fetch the sources of nanopb (see above)"
  nanopb_sources || stop "the sources of nanopb fetched into $deps are not version $nanopb_version with its C files"
}

command -v dpkg-query >/dev/null 2>&1 ||
  stop "this is not Debian. Install by hand what stands in $0 under packages, then configure with -DNANOPB_DIR=<its sources>"
case "${1:-}" in
  "") ;;
  --tests) packages="$packages $test_packages" ;;
  *) stop "unknown option $1; there is --tests" ;;
esac
missing=$(missing_of $packages)
[ -z "$missing" ] || install_packages
nanopb_sources || fetch_nanopb
printf '%s\n' "$nanopb"
