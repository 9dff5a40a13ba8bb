// Package sysfs reads temperature sensors through the Linux kernel's drivers: 1-wire (w1_therm), industrial I/O
// (thermocouple converters, RTD converters, analog converters) and hwmon.
//
// Everything goes through a Tree whose root is /sys, so that a made-up tree serves as well. The package keeps no state,
// starts no goroutine and reads no clock; a read may block as long as the driver does. A sensor is named by an address:
//
//	w1:28-0316a2795bff        a 1-wire sensor by its id
//	iio:max31855/temp         a channel of an IIO device by the device's name …
//	iio:device0/voltage1      … or by its number, where two have the same name
//	hwmon:sht3x/temp1         a hwmon input, by the chip's name or as hwmon2/temp1
//
// A sensor that is not there, gives no value or reports a fault is an error of type *Fault. The layout of the files is that
// of the kernel's documentation of w1_therm, the IIO and the hwmon interface; driver details are from memory.
package sysfs
