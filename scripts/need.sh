#!/bin/sh
# need.sh build|test: installs the system packages that building (or testing) tunerd needs and
# that are missing. On Debian and its relatives by apt-get, through sudo unless root; elsewhere
# it says what to install and fails. Installs nothing, and says nothing, when all is there.
set -eu

missing=
want() { # want PACKAGE CHECK...: the package is wanted if the check fails
	package=$1
	shift
	"$@" >/dev/null 2>&1 || missing="$missing $package"
}
header() { [ -e "/usr/include/$1" ] || echo "#include <$1>" | cc -E - ; }
pulse_plugin() { ls /usr/lib/*/alsa-lib/libasound_module_pcm_pulse.so /usr/lib*/alsa-lib/libasound_module_pcm_pulse.so 2>/dev/null | grep -q . ; }

command -v go >/dev/null || { echo "Go 1.26 or newer is needed: https://go.dev/dl/" >&2; exit 1; }
if [ "$1" = build ] && [ "${CGO_ENABLED:-1}" = 0 ]; then
	exit 0 # asked to build without the microphone: nothing but Go is needed
fi

want gcc command -v cc
want libc6-dev header stdlib.h
want pkg-config command -v pkg-config
want portaudio19-dev pkg-config --exists portaudio-2.0
if [ "$1" = test ]; then
	want sox command -v sox
	want flac command -v flac
	want espeak-ng command -v espeak-ng
	want pulseaudio command -v pulseaudio
	want pulseaudio-utils command -v paplay
	want libasound2-plugins pulse_plugin
	want praat command -v praat
	want aubio-tools command -v aubiopitch
	want libaubio-dev pkg-config --exists aubio
	want tmux command -v tmux
	want python3 command -v python3
	want zbar-tools command -v zbarimg
	want poppler-utils command -v pdftotext
	want fluidsynth command -v fluidsynth
	want chromium command -v chromium
	want fluid-soundfont-gm test -e /usr/share/sounds/sf2/FluidR3_GM.sf2
fi
[ -n "$missing" ] || exit 0

if ! command -v apt-get >/dev/null; then
	cat >&2 <<-END
	Please install what these Debian packages hold:$missing
	(macOS with Homebrew: brew install pkg-config portaudio; Fedora: dnf install gcc pkgconf portaudio-devel)
	Without a microphone tunerd needs none of them: CGO_ENABLED=0 make run
	END
	exit 1
fi
sudo=
if [ "$(id -u)" != 0 ]; then
	sudo=sudo
	command -v sudo >/dev/null || { echo "As root, please run: apt-get update && apt-get install$missing" >&2; exit 1; }
fi
echo "Installing:$missing" >&2
log=$(mktemp)
trap 'rm -f "$log"' EXIT
export DEBIAN_FRONTEND=noninteractive
# Package lists first; where an unrelated repository fails, the install below may still do.
$sudo apt-get update -q >"$log" 2>&1 || true
# shellcheck disable=SC2086 # a list of packages
if ! $sudo env DEBIAN_FRONTEND=noninteractive apt-get install -qy --no-install-recommends $missing >>"$log" 2>&1 </dev/null; then
	tail -n 15 "$log" >&2
	echo "apt-get could not install:$missing" >&2
	exit 1
fi
