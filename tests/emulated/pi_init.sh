#!/bin/busybox sh
# What the emulated Raspberry Pi of pi_check.sh does: the packed binary on the pins and buses that rppal finds there, with the
# packed plans.
# Levels are read from and written to the chip's own registers, beside railproof and rppal.
/bin/busybox --install -s /bin
mount -t proc proc /proc
mount -t sysfs sys /sys
mount -t devtmpfs dev /dev
mkdir -p /dev/pts
mount -t devpts pts /dev/pts
mount -t debugfs debug /sys/kernel/debug
cd /usr/share/railproof
insmod /lib/bcm2835_wdt.ko # without it the Pi cannot be switched off

failed() {
    echo "FAILED: $*"
    cat /tmp/said
    reboot -f
}

# ends STATUS TEXT COMMAND...: it ends with that status and says that, however it breaks its lines.
ends() {
    local wanted=$1 text=$2 status=0
    shift 2
    "$@" >/tmp/said 2>&1 </dev/null || status=$?
    [ $status = "$wanted" ] || failed "ended with $status, not $wanted: $*"
    says "$text"
}

says() {
    tr -s ' \n' ' ' </tmp/said | grep -qF -- "$1" || failed "does not say: $1"
}

# Outside: registers of the pins, BCM2835 ARM Peripherals, section 6.1; how: from memory
# Function select from 0x3f200000 on, set at +1c, clear at +28, level at +34 (hexadecimal).
is_high() {
    [ $(($(devmem 0x3f200034) >> $1 & 1)) = 1 ]
}

is_output() {
    [ $(($(devmem $((0x3f200000 + $1 / 10 * 4))) >> $1 % 10 * 3 & 7)) = 1 ]
}

# holds PIN set|clear: gives an input that level, as the emulated chip lets a pin keep what it was as an output.
holds() {
    local select=$((0x3f200000 + $1 / 10 * 4)) shift=$(($1 % 10 * 3)) to=0x3f20001c
    [ "$2" = set ] || to=0x3f200028
    local inputs=$(($(devmem $select) & ~(7 << shift)))
    devmem $select 32 $((inputs | 1 << shift))
    devmem $to 32 $((1 << $1))
    devmem $select 32 $inputs
}

supply=12
keep_alive=26
outputs="12 13 16 18 19 20 21"
emergency_stop=5
guard=6
left_end_stop=24

all_low() {
    for pin in $outputs $keep_alive; do
        is_output $pin || failed "pin $pin is no output"
        is_high $pin && failed "pin $pin is high $1"
    done
}

# wait_for COMMAND...: waits for it, half a minute at most.
wait_for() {
    local left=300
    while ! "$@"; do
        left=$((left - 1))
        [ $left != 0 ] || failed "waited in vain: $*"
        usleep 100000
    done
}

# toggles: how often the keep-alive pin is seen to change, in forty looks.
toggles() {
    local seen=0 before=2 left=40
    while [ $left != 0 ]; do
        is_high $keep_alive && now=1 || now=0
        [ $now = $before ] || seen=$((seen + 1))
        before=$now
        left=$((left - 1))
        usleep 20000
    done
    echo $((seen - 1))
}

run="railproof run --serial SM-0001 --unit fixtures/units/dunlin-600.yaml --results /tmp/results --confirmed"
on_pins="railproof run /pi-pins.yaml --serial SD-0001 --unit /dipper-300.yaml --jig /pins-alone.yaml --unit-port /dev/ttyS1
    --results /tmp/results --confirmed"

begins() {
    $on_pins >/tmp/said 2>&1 </dev/null &
    wait_for is_high $supply
}

# ended STATUS TEXT: of what began last.
ended() {
    local status=0
    wait $! || status=$?
    [ $status = "$1" ] || failed "ended with $status, not $1: the run on pins"
    says "$2"
}

echo "- the binary starts, and checks files"
ends 0 "$version" railproof --version
ends 0 "outgoing.yaml: plan, nothing wrong" railproof lint test-plans/*.yaml /pi-pins.yaml /pins-alone.yaml

echo "- a Pi that has not been told the date"
on_pi="$run test-plans/quick.yaml --jig fixtures/jigs/raspberry-pi.yaml"
ends 4 "the computer's clock says 1970-01-01" $on_pi
date -s 2026-10-01 >/dev/null

echo "- I2C switched off, and chips that do not answer"
ends 4 "I2C bus 1 cannot be used: I/O error: No such file or directory" $on_pi
insmod /lib/i2c-bcm2835.ko
insmod /lib/i2c-dev.ko
ends 4 "\`pack voltage\` cannot be read: the INA226 at 0x40 does not answer: I/O error: Connection timed out" $on_pi
all_low "after chips were missed"

echo "- inputs are read: an emergency stop that is pressed, a guard that is open"
ends 4 "invalid because the emergency stop was pressed" $on_pins
holds $emergency_stop set
ends 4 "invalid because the guard is open" $on_pins
holds $guard set

echo "- outputs are set, the keep-alive pin toggles, interrupts are asked for"
begins
toggled=$(toggles)
[ "$toggled" -ge 8 ] || failed "the keep-alive pin toggled $toggled times only"
watched=$(grep -c 'RPPAL.* in .*IRQ' /sys/kernel/debug/gpio)
[ "$watched" = 12 ] || failed "$watched inputs have interrupts"
$on_pins >/tmp/second 2>&1 </dev/null && failed "a second program got the pins"
grep -q "the pins of this Raspberry Pi 3 B cannot be used: another program drives them" /tmp/second || failed "$(cat /tmp/second)"
is_high $supply || failed "the second program took the supply of the first"
ended 3 "missed end stops: nothing was measured"
all_low "after a run"

echo "- a level that changes without an interrupt"
begins
holds $left_end_stop set
ended 4 "an edge of \`left end stop\`: its level changed without one"
all_low "after a loss"

echo "- a run that is told to end"
begins
kill -TERM $!
ended 130 ""
all_low "after a run that was told to end"

echo "- a run that is killed: the keep-alive pin rests, and the next one finds the supply off"
begins
kill -KILL $!
wait $!
[ "$(toggles)" = 0 ] || failed "the keep-alive pin toggles on"
is_high $supply || failed "this shows nothing: the supply went off by itself"
ends 4 "does not answer" $on_pi
all_low "after the next run"

echo "- the whole outgoing plan on the simulated bench"
ends 0 "conforms, 13 checks" $run test-plans/outgoing.yaml --jig fixtures/jigs/simulated.yaml

echo "emulated Raspberry Pi: all right"
reboot -f
