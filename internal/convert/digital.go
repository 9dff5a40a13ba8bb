package convert

import (
	"errors"
	"fmt"
	"math"

	"stallkeeper/estimator/thermal"
)

// What a chip says instead of a temperature.
var (
	ErrOpen        = errors.New("thermocouple open: check that it is plugged in and not broken")
	ErrShortGround = errors.New("thermocouple shorted to ground: check its insulation, or use an insulated tip")
	ErrShortSupply = errors.New("thermocouple shorted to the supply: check the wiring")
	ErrPowerUp     = errors.New("85.0 °C is the sensor's power-up value, not a measurement: check its supply, and wait for the conversion")
	ErrLowPower    = errors.New("127.94 °C is what the sensor gives with too little power: give it its own supply wire or a stronger pull-up")
	ErrCRC         = errors.New("checksum wrong: shorten the cable, check the pull-up resistor and the ground")
	ErrFault       = errors.New("the chip reports a fault and does not say which: check the thermocouple")
	ErrWord        = errors.New("the word is not this chip's, bits that are always 0 are set: check data and clock lines")
)

// The range of the DS18B20, by its data sheet.
const (
	ds18b20Min thermal.Celsius = -55
	ds18b20Max thermal.Celsius = 125
)

// DS18B20Register reads the 16-bit temperature register: two's complement, 1/16 °C (DS18B20 data sheet). The register
// alone cannot tell a true 85.0 °C from the power-up value; DS18B20Scratchpad can.
func DS18B20Register(register uint16) (thermal.Celsius, error) {
	if register == 0x07FF {
		return 0, ErrLowPower
	}
	c := thermal.Celsius(int16(register)) / 16
	if c < ds18b20Min || c > ds18b20Max {
		return 0, fmt.Errorf("register %04Xh is %.4f °C, outside %.0f … %.0f °C of the DS18B20: check the wiring", register, float64(c), float64(ds18b20Min), float64(ds18b20Max))
	}
	return c, nil
}

// DS18B20Encode gives the register for a temperature, rounded to 1/16 °C.
func DS18B20Encode(c thermal.Celsius) (uint16, error) {
	if !(c >= ds18b20Min && c <= ds18b20Max) {
		return 0, fmt.Errorf("%.6g °C is outside %.0f … %.0f °C of the DS18B20", float64(c), float64(ds18b20Min), float64(ds18b20Max))
	}
	return uint16(int16(math.Round(float64(c) * 16))), nil
}

// DS18B20Scratchpad reads the nine bytes of the scratchpad and checks their CRC. Lower resolutions leave the lowest bits
// undefined; they are cut by the configuration byte. The seventh byte is 0Ch before the first conversion and 10h less
// the register's low nibble after one (from memory), which tells the power-up value from a true 85.0 °C.
func DS18B20Scratchpad(b [9]byte) (thermal.Celsius, error) {
	if CRC8(b[:8]) != b[8] {
		return 0, ErrCRC
	}
	if b == [9]byte{} {
		return 0, fmt.Errorf("the scratchpad is all zeros: the data line is shorted to ground")
	}
	register := uint16(b[1])<<8 | uint16(b[0])
	if register == 0x0550 && b[6] == 0x0C {
		return 0, ErrPowerUp
	}
	if register == 0x07FF {
		return 0, ErrLowPower
	}
	unused := 3 - int(b[4]>>5&3) // config 0 R1 R0 11111: 9 bits leave three undefined
	return DS18B20Register(register &^ (1<<unused - 1))
}

// CRC8 is the 1-wire checksum: polynomial 31h, reflected, starting at 0.
func CRC8(data []byte) byte {
	crc := byte(0)
	for _, b := range data {
		crc ^= b
		for range 8 {
			if crc&1 != 0 {
				crc = crc>>1 ^ 0x8C
			} else {
				crc >>= 1
			}
		}
	}
	return crc
}

// MAX31855Word reads the 32-bit word of the converter chip: the thermocouple's temperature as the chip shows it, and that
// of its cold junction (MAX31855 data sheet). See Thermocouple.Relinearized for the truth behind the shown value. A word
// of zeros is 0 °C with the chip at 0 °C; a dead data line gives the same and cannot be told from it here.
func MAX31855Word(w uint32) (shown, coldJunction thermal.Celsius, err error) {
	switch {
	case w&(1<<17|1<<3) != 0:
		return 0, 0, ErrWord
	case w&1 != 0:
		return 0, 0, ErrOpen
	case w&2 != 0:
		return 0, 0, ErrShortGround
	case w&4 != 0:
		return 0, 0, ErrShortSupply
	case w&(1<<16) != 0:
		return 0, 0, ErrFault
	}
	shown = thermal.Celsius(int32(w)>>18) / 4
	coldJunction = thermal.Celsius(int32(w<<16)>>20) / 16
	if shown < -270 || shown > 1800 {
		return 0, 0, fmt.Errorf("word %08Xh is %.2f °C, outside -270 … 1800 °C of the MAX31855: check the wiring", w, float64(shown))
	}
	return shown, coldJunction, nil
}

// MAX31855Encode gives the word for a shown temperature (rounded to 0.25 °C) and a cold junction (1/16 °C).
func MAX31855Encode(shown, coldJunction thermal.Celsius) (uint32, error) {
	if !(shown >= -270 && shown <= 1800) || !(coldJunction >= -128 && coldJunction < 127.97) {
		return 0, fmt.Errorf("%.6g °C with a cold junction at %.6g °C is outside -270 … 1800 and -128 … 127 °C of the MAX31855", float64(shown), float64(coldJunction))
	}
	t := uint32(int32(math.Round(float64(shown)*4))) << 18
	j := uint32(int32(math.Round(float64(coldJunction)*16))) & 0xFFF << 4
	return t | j, nil
}

// MAX6675Word reads the 16-bit word of the converter chip: 0 … 1023.75 °C in steps of 0.25 (MAX6675 data sheet).
func MAX6675Word(w uint16) (thermal.Celsius, error) {
	if w&(1<<15|2) != 0 {
		return 0, ErrWord
	}
	if w&4 != 0 {
		return 0, ErrOpen
	}
	return thermal.Celsius(w>>3) / 4, nil
}

// MAX6675Encode gives the word for a temperature, rounded to 0.25 °C.
func MAX6675Encode(c thermal.Celsius) (uint16, error) {
	if !(c >= 0 && c <= 1023.75) {
		return 0, fmt.Errorf("%.6g °C is outside 0 … 1023.75 °C of the MAX6675", float64(c))
	}
	return uint16(math.Round(float64(c)*4)) << 3, nil
}
