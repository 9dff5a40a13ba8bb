package strict

import (
	"strings"
	"testing"
	"time"
)

type settings struct {
	Data  string   `toml:"data"`
	Names []string `toml:"names"`
	Proxy bool     `toml:"behind_proxy"`
	Store struct {
		Linger  time.Duration  `toml:"linger"`
		Clients int            `toml:"max_clients"`
		After   *time.Duration `toml:"after"`
	} `toml:"store"`
	Probes []struct {
		ID      string  `toml:"id"`
		Scale   float64 `toml:"scale"`
		Convert *struct {
			Kind   string `toml:"kind"`
			Points []struct {
				Celsius float64 `toml:"celsius"`
			} `toml:"points"`
		} `toml:"convert"`
	} `toml:"probe"`
}

// Each mistake is one that a person made who wrote such a file by hand.
func TestDecode_SaysWhatToWrite(t *testing.T) {
	for text, want := range map[string]string{
		"\ndata = 5":                   `line 2: data = 5 is no text: put it into quotes, data = "5"`,
		"data = true":                  `data = true is no text: put it into quotes`,
		"data = my-folder":             `line 1: expected value but found`,
		"[data]":                       `line 1: data is one value and no section: write data = "text"`,
		"behind_proxy = \"yes\"":       `behind_proxy = "yes" is neither true nor false: write one of them, without quotes`,
		"names = \"a\"":                `names is a list: write names = ["a"]`,
		"names = [1]":                  `names = 1 is no text`,
		"[[names]]":                    `names is a list: write names = ["text"]`,
		"store = 1":                    `store is a section: write [store] on a line of its own`,
		"[[store]]":                    `line 1: [[store]] stands for one of several, and there is only one: write [store]`,
		"[store]\nlinger = 10":         `line 2: store.linger = 10 has no unit: write it like "90s", "20m" or "36h"`,
		"[store]\nafter = 0.5":         `store.after = 0.5 has no unit`,
		"[store]\nlinger = \"1 hour\"": `line 2: store.linger = "1 hour" is no duration: write it like`,
		"[store]\nlinger = true":       `store.linger = true is no duration`,
		"[store]\nmax_clients = \"9\"": `store.max_clients = "9" is text: write the number without quotes, max_clients = 9`,
		"[store]\nmax_clients = 1.5":   `store.max_clients = 1.5 is no whole number: write it like 2`,
		"[probe]\nid = \"a\"":          `line 1: there may be several of [probe]: write it as [[probe]]`,
		"probe = \"a\"":                `write each as a section [[probe]]`,
		"[[probe]]\nscale = \"15 °C\"": `line 2: probe.scale = "15 °C" is no number: write it like 1.5, without quotes and without a unit`,
		"[[probe]]\n[probe.convert]\npoints = [{celsius = \"0\"}]": `probe.convert.points.celsius = "0" is text: write the number without quotes`,
		"daat = \"x\"":            `line 1: unknown key "daat"; did you mean "data"?`,
		"[[probe]]\nname = \"a\"": `line 2: unknown key "probe.name": what may stand there is id, scale, convert; all keys are in sample.toml`,
		"[stor]\nlinger = \"1s\"": `line 1: unknown key "stor"; did you mean "store"?`,
	} {
		var s settings
		err := Decode(text, &s, "sample.toml")
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v, want it to say %q", text, err, want)
		}
	}
}

// What is right is taken over what stands there already: whole numbers for fractions too, and capital letters, as the decoder does.
func TestDecode_TakesWhatIsRight(t *testing.T) {
	s := settings{Data: "here", Proxy: true}
	text := "Data = \"there\"\nnames = []\n[store]\nafter = \"0s\"\n[[probe]]\nid = \"a\"\nscale = 2\n[probe.convert]\npoints = [{ celsius = 0 }, { celsius = 1.5 }]\n"
	if err := Decode(text, &s, "sample.toml"); err != nil {
		t.Fatal(err)
	}
	if s.Data != "there" || !s.Proxy || *s.Store.After != 0 || s.Probes[0].Scale != 2 || s.Probes[0].Convert.Points[1].Celsius != 1.5 {
		t.Errorf("decoded %+v", s)
	}
}

// Every mistake is told at once, in the order of the lines, and one in an unknown section once.
func TestDecode_TellsAllAtOnce(t *testing.T) {
	var s settings
	err := Decode("behind_proxy = 1\ndata = 5\n[stor]\nlinger = 3\n[store]\nlinger = 3\n", &s, "sample.toml")
	if err == nil {
		t.Fatal("no error")
	}
	lines := strings.Split(err.Error(), "\n")
	for i, want := range []string{"line 1: behind_proxy", "line 2: data", "line 3: unknown key \"stor\"", "line 6: store.linger"} {
		if len(lines) != 4 || !strings.HasPrefix(lines[i], want) {
			t.Errorf("mistakes %q, want %q as number %d of 4", lines, want, i+1)
		}
	}
}
