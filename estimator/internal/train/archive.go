package main

import (
	"archive/tar"
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path"
	"slices"
	"strconv"
	"time"

	"stallkeeper/estimator"
	"stallkeeper/estimator/thermal"
)

// cookFile is what is used of a cook.json with one piece.
type cookFile struct {
	Started   time.Time `json:"started"`
	AltitudeM float64   `json:"altitude_m"`
	Pit       struct {
		SetPoint thermal.Celsius `json:"setpoint_c"`
		Fire     string          `json:"fire"`
	} `json:"pit"`
	Pieces []struct {
		Cut         string          `json:"cut"`
		MassKg      float64         `json:"mass_kg"`
		ThicknessMM float64         `json:"thickness_mm"`
		Target      thermal.Celsius `json:"target_c"`
	} `json:"pieces"`
	Events []struct {
		Time    time.Time       `json:"time"`
		Kind    string          `json:"kind"`
		With    string          `json:"with"`
		Celsius thermal.Celsius `json:"celsius"`
	} `json:"events"`
}

// readArchive reads every cook of a tar.gz, in the order of their names.
func readArchive(name string) ([]estimator.Finished, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	zipped, err := gzip.NewReader(file)
	if err != nil {
		return nil, fmt.Errorf("unpack %s: %w", name, err)
	}
	inputs := map[string]*estimator.Input{}
	for entries := tar.NewReader(zipped); ; {
		entry, err := entries.Next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("unpack %s: %w", name, err)
		}
		cook, part := path.Dir(entry.Name), path.Base(entry.Name)
		if inputs[cook] == nil {
			inputs[cook] = &estimator.Input{}
		}
		switch part {
		case "cook.json":
			err = readCook(entries, inputs[cook])
		case "readings.csv":
			err = readReadings(entries, inputs[cook])
		}
		if err != nil {
			return nil, fmt.Errorf("read %s in %s: %w", entry.Name, name, err)
		}
	}
	var cooks []estimator.Finished
	for _, cook := range slices.Sorted(maps.Keys(inputs)) {
		if in := inputs[cook]; len(in.Core) > 0 {
			cooks = append(cooks, estimator.Finished{Input: *in})
		}
	}
	return cooks, nil
}

func readCook(r io.Reader, in *estimator.Input) error {
	var c cookFile
	if err := json.NewDecoder(r).Decode(&c); err != nil {
		return err
	}
	if len(c.Pieces) != 1 {
		return fmt.Errorf("%d pieces: train learns from cooks with one", len(c.Pieces))
	}
	p := c.Pieces[0]
	in.Cut, in.MassKg, in.ThicknessMM, in.Target = estimator.Cut(p.Cut), p.MassKg, p.ThicknessMM, p.Target
	in.Started, in.AltitudeM, in.SetPoint, in.Fire = c.Started, c.AltitudeM, c.Pit.SetPoint, c.Pit.Fire
	for _, e := range c.Events {
		in.Events = append(in.Events, estimator.Event{Time: e.Time, Kind: estimator.EventKind(e.Kind), With: estimator.Wrapping(e.With), Celsius: e.Celsius})
	}
	return nil
}

func readReadings(r io.Reader, in *estimator.Input) error {
	rows, err := csv.NewReader(r).ReadAll()
	if err != nil {
		return err
	}
	for _, row := range rows[1:] {
		when, err := time.Parse(time.RFC3339, row[0])
		if err != nil {
			return err
		}
		celsius, err := strconv.ParseFloat(row[2], 64)
		if err != nil {
			return err
		}
		s := estimator.Sample{Time: when, Celsius: thermal.Celsius(celsius)}
		if row[1] == "pit" {
			in.Pit = append(in.Pit, s)
		} else {
			in.Core = append(in.Core, s)
		}
	}
	return nil
}
