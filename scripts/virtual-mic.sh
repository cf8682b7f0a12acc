#!/usr/bin/env bash
# virtual-mic.sh [-r RATE] [-c CHANNELS] -- COMMAND [ARGUMENT...]
#
# Runs COMMAND with a microphone that needs no hardware: a PulseAudio server of its own, with a
# null sink "mic" whose monitor is the default source, and ALSA's default device led to it. What
# is played into the sink is what the microphone hears, sample for sample:
#
#     paplay --latency-msec=30 --device=mic sound.wav
#
# as long as sound.wav, the sink (-r, default 48000 Hz) and the stream that COMMAND opens have the
# same sample rate and as many channels (-c, default 1); otherwise PulseAudio converts.
#
# COMMAND also sees VMIC_MODULE, the number of the sink's module (for `pactl unload-module`: the
# microphone vanishes), VMIC_LOAD, the arguments of `pactl load-module` that bring it back, and
# VMIC_PULSE_PID, the server's process. No configuration of the user or the system is read, no
# other sound server is touched, and nothing is left behind. The exit status is COMMAND's.
set -u

usage() { echo "usage: $0 [-r rate] [-c channels] -- command [argument...]" >&2; exit 2; }
rate=48000 channels=1
while getopts r:c: option; do
	case $option in
		r) rate=$OPTARG ;;
		c) channels=$OPTARG ;;
		*) usage ;;
	esac
done
shift $((OPTIND - 1))
[ $# -gt 0 ] || usage
for tool in pulseaudio pactl paplay parec; do
	command -v "$tool" >/dev/null && continue
	echo "virtual-mic: $tool is missing (Debian: apt-get install pulseaudio pulseaudio-utils libasound2-plugins)" >&2
	exit 3
done

dir=$(mktemp -d "${TMPDIR:-/tmp}/virtual-mic.XXXXXX") || exit 3
pulse='' keeper='' command=''

# end PID: TERM, and KILL if that has not helped after 2.5 s.
end() {
	[ -n "$1" ] || return
	kill -TERM "$1" 2>/dev/null
	for _ in $(seq 50); do
		kill -0 "$1" 2>/dev/null || break
		sleep 0.05
	done
	kill -KILL "$1" 2>/dev/null
	wait "$1" 2>/dev/null
}
cleanup() {
	trap - EXIT INT TERM HUP
	end "$command"
	end "$keeper"
	end "$pulse"
	rm -rf "$dir"
}
trap cleanup EXIT
trap 'exit 130' INT
trap 'exit 143' TERM HUP

fail() {
	echo "virtual-mic: $1; the server said:" >&2
	cat "$dir/pulse.log" >&2
	exit 3
}

# HOME stays as it is, for the sake of build caches; these keep its settings out instead.
mkdir -m 700 "$dir/run" "$dir/config"
export XDG_RUNTIME_DIR="$dir/run" XDG_CONFIG_HOME="$dir/config" PULSE_RUNTIME_PATH="$dir/run/pulse"
export PULSE_SERVER="unix:$dir/run/native" PULSE_COOKIE="$dir/cookie" PULSE_CLIENTCONFIG="$dir/client.conf"
export ALSA_CONFIG_PATH="$dir/alsa.conf"
unset DBUS_SESSION_BUS_ADDRESS DISPLAY PULSE_SINK PULSE_SOURCE
echo 'autospawn = no' >"$PULSE_CLIENTCONFIG"
printf '%s.default { type pulse }\n' pcm ctl >"$ALSA_CONFIG_PATH"

pulseaudio -n --daemonize=no --exit-idle-time=-1 --use-pid-file=no --disallow-exit=no \
	--realtime=no --high-priority=no --log-target=stderr --log-level=notice \
	-L "module-native-protocol-unix auth-anonymous=1 socket=$dir/run/native" \
	>"$dir/pulse.log" 2>&1 </dev/null &
pulse=$!
for _ in $(seq 100); do # 10 s at most
	kill -0 "$pulse" 2>/dev/null || break
	pactl info >/dev/null 2>&1 && ready=1 && break
	sleep 0.1
done
[ -n "${ready:-}" ] || fail "pulseaudio did not start"

VMIC_LOAD="module-null-sink sink_name=mic rate=$rate channels=$channels format=float32le"
# shellcheck disable=SC2086 # the module and its arguments
VMIC_MODULE=$(pactl load-module $VMIC_LOAD) || fail "no null sink"
pactl set-default-source mic.monitor || fail "no default source"
export VMIC_LOAD VMIC_MODULE VMIC_PULSE_PID=$pulse

# An idle null sink works in steps of two seconds, and the first samples come that late. A
# recorder that runs along keeps it in short steps. Wait until it has heard something.
parec --raw --latency-msec=10 --device=mic.monitor 2>/dev/null </dev/null \
	> >(head -c 4096 >"$dir/heard"; exec cat >/dev/null) &
keeper=$!
for _ in $(seq 60); do # 3 s at most
	[ -s "$dir/heard" ] && break
	sleep 0.05
done

# In the background, so that a signal to this script is answered at once.
"$@" <&0 &
command=$!
wait "$command"
status=$?
command=''
exit "$status"
