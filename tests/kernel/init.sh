#!/bin/sh
# The first process of the guest: modules, the camera, the probe. Reports on the serial console.
/bin/busybox mkdir -p /proc /sys /dev /run /tmp
/bin/busybox mount -t proc none /proc
/bin/busybox mount -t sysfs none /sys
/bin/busybox mount -t devtmpfs none /dev
export PATH=/bin
/bin/busybox --install -s /bin
echo "GUEST $(uname -r)"
load() {
    while read -r module; do
        insmod "/modules/$module.ko" || echo "FAIL loading $module"
    done <"$1"
}
wait_for() {
    tries=0
    until [ -e "$1" ] || [ $tries -ge 100 ]; do usleep 100000; tries=$((tries + 1)); done
    [ -e "$1" ] || echo "FAIL $1 did not appear"
}
load /modules/uvc.order
mkfifo /run/camera
usb_camera /frames /run/camera &
camera=$!
wait_for /dev/video0
usleep 500000
[ "$(cat /sys/class/video4linux/video0/name)" = "Bench Camera: Bench Camera" ] ||
    echo "NOTE the kernel calls it $(cat /sys/class/video4linux/video0/name)"
timeout 120 probe uvc /run/camera
kill $camera
usleep 500000
load /modules/vivid.order
wait_for /dev/video0
timeout 60 probe vivid
echo "TEST-EXIT 0"
poweroff -f
