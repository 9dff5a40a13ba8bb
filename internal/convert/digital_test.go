package convert

import (
	"errors"
	"testing"

	"stallkeeper/estimator/thermal"
)

// The table of the DS18B20 data sheet.
func TestDS18B20Register_ReproducesTheDataSheet(t *testing.T) {
	for _, row := range []struct {
		c        thermal.Celsius
		register uint16
	}{{125, 0x07D0}, {85, 0x0550}, {25.0625, 0x0191}, {10.125, 0x00A2}, {0.5, 0x0008}, {0, 0}, {-0.5, 0xFFF8}, {-10.125, 0xFF5E},
		{-25.0625, 0xFE6F}, {-55, 0xFC90}} {
		if got, err := DS18B20Register(row.register); err != nil || got != row.c {
			t.Errorf("%04Xh = %v, %v; want %v", row.register, got, err, row.c)
		}
		if got, err := DS18B20Encode(row.c); err != nil || got != row.register {
			t.Errorf("%v = %04Xh, %v; want %04Xh", row.c, got, err, row.register)
		}
	}
	if _, err := DS18B20Register(0x07FF); !errors.Is(err, ErrLowPower) {
		t.Errorf("07FFh: %v, want ErrLowPower", err)
	}
	if _, err := DS18B20Register(0xF800); err == nil {
		t.Error("F800h, -128 °C, was taken")
	}
}

// The bytes are from memory; CRC and value are computed.
func TestDS18B20Scratchpad(t *testing.T) {
	good := [9]byte{0x98, 0x01, 0x4B, 0x46, 0x7F, 0xFF, 0x08, 0x10, 0x22}
	if got, err := DS18B20Scratchpad(good); err != nil || got != 25.5 {
		t.Errorf("= %v, %v; want 25.5", got, err)
	}
	powerUp := [9]byte{0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10, 0x1C}
	if _, err := DS18B20Scratchpad(powerUp); !errors.Is(err, ErrPowerUp) {
		t.Errorf("power-up scratchpad: %v, want ErrPowerUp", err)
	}
	measured := powerUp // a true 85 °C has another seventh byte
	measured[6] = 0x10
	measured[8] = CRC8(measured[:8])
	if got, err := DS18B20Scratchpad(measured); err != nil || got != 85 {
		t.Errorf("a measured 85 °C = %v, %v", got, err)
	}
	for i := range good {
		for bit := range 8 {
			bad := good
			bad[i] ^= 1 << bit
			if _, err := DS18B20Scratchpad(bad); !errors.Is(err, ErrCRC) {
				t.Errorf("bit %d of byte %d flipped: %v, want ErrCRC", bit, i, err)
			}
		}
	}
	if _, err := DS18B20Scratchpad([9]byte{}); err == nil {
		t.Error("all zeros were taken") // their CRC is right
	}
	nine := [9]byte{0x9F, 0x01, 0x4B, 0x46, 0x1F, 0xFF, 0x08, 0x10} // 9 bits: the lowest three are undefined
	nine[8] = CRC8(nine[:8])
	if got, err := DS18B20Scratchpad(nine); err != nil || got != 25.5 {
		t.Errorf("9 bits = %v, %v; want 25.5", got, err)
	}
}

// Both tables of the MAX31855 data sheet, and a word computed from the layout.
func TestMAX31855Word_ReproducesTheDataSheet(t *testing.T) {
	for _, row := range []struct {
		c    thermal.Celsius
		bits uint32
	}{{1600, 0b0110_0100_0000_00}, {1000, 0b0011_1110_1000_00}, {100.75, 0b0000_0110_0100_11}, {25, 0b0000_0001_1001_00}, {0, 0},
		{-0.25, 0b1111_1111_1111_11}, {-1, 0b1111_1111_1111_00}, {-250, 0b1111_0000_0110_00}} {
		if got, _, err := MAX31855Word(row.bits << 18); err != nil || got != row.c {
			t.Errorf("thermocouple %014b = %v, %v; want %v", row.bits, got, err, row.c)
		}
		if w, err := MAX31855Encode(row.c, 0); err != nil || w != row.bits<<18 {
			t.Errorf("%v = %08Xh, %v", row.c, w, err)
		}
	}
	for _, row := range []struct {
		c    thermal.Celsius
		bits uint32
	}{{127, 0x7F0}, {100.5625, 0x649}, {25, 0x190}, {0, 0}, {-0.0625, 0xFFF}, {-1, 0xFF0}, {-20, 0xEC0}, {-55, 0xC90}} {
		if _, got, err := MAX31855Word(row.bits << 4); err != nil || got != row.c {
			t.Errorf("cold junction %03Xh = %v, %v; want %v", row.bits, got, err, row.c)
		}
		if w, err := MAX31855Encode(0, row.c); err != nil || w != row.bits<<4 {
			t.Errorf("cold junction %v = %08Xh, %v", row.c, w, err)
		}
	}
	if shown, cold, err := MAX31855Word(0x01501790); err != nil || shown != 21 || cold != 23.5625 {
		t.Errorf("01501790h = %v, %v, %v; want 21 and 23.5625", shown, cold, err)
	}
	for w, want := range map[uint32]error{0x0001_0001: ErrOpen, 0x0001_0002: ErrShortGround, 0x0001_0004: ErrShortSupply, 0xFFFF_FFFF: ErrWord, 8: ErrWord} {
		if _, _, err := MAX31855Word(w); !errors.Is(err, want) {
			t.Errorf("%08Xh: %v, want %v", w, err, want)
		}
	}
	if _, _, err := MAX31855Word(1 << 16); err == nil {
		t.Error("a fault without a reason was taken")
	}
}

// The layout of the MAX6675 data sheet.
func TestMAX6675Word(t *testing.T) {
	for c, w := range map[thermal.Celsius]uint16{0: 0, 0.25: 8, 107.25: 429 << 3, 1023.75: 4095 << 3} {
		if got, err := MAX6675Word(w); err != nil || got != c {
			t.Errorf("%04Xh = %v, %v; want %v", w, got, err, c)
		}
		if got, err := MAX6675Encode(c); err != nil || got != w {
			t.Errorf("%v = %04Xh, %v; want %04Xh", c, got, err, w)
		}
	}
	for w, want := range map[uint16]error{4: ErrOpen, 0x8000: ErrWord, 2: ErrWord, 0xFFFF: ErrWord} {
		if _, err := MAX6675Word(w); !errors.Is(err, want) {
			t.Errorf("%04Xh: %v, want %v", w, err, want)
		}
	}
	if _, err := MAX6675Encode(-1); err == nil {
		t.Error("-1 °C was encoded: the chip knows no negative values")
	}
}
