package api_test

import (
	"strings"
	"testing"

	"stallkeeper/internal/web/webtest"
)

// recordCalls are the story of a lot in the order of the contract's test.
var recordCalls = []call{
	{golden: "lot-opened", method: "POST", path: v1 + "/lots", status: 201,
		body: `{"product":"Cured brisket","class":"refrigerated","pieces":[{"id":"flat","cut":"brisket_flat_cured","intact":true}],"by":"KM"}`},
	{method: "POST", path: v1 + "/lots", body: `{"id":"m1","product":"x","by":"KM","at":"2026-11-20T08:00:00Z"}`, status: 201},
	{golden: "lot-twice", method: "POST", path: v1 + "/lots", body: `{"id":"m1","product":"x","by":"KM"}`, status: 409},
	{method: "POST", path: v1 + "/lots", body: `{"id":"m 1","product":"x","by":"KM"}`, status: 400, undocumentedIn: true},
	{golden: "record-made", method: "POST", path: v1 + "/records", status: 201,
		body: `{"lot":"m1","kind":"weighed","body":{"when":"raw","mass_kg":3.40,"instrument":"floor scale"},"by":"KM","at":"2026-11-20T08:05:00Z"}`},
	{golden: "record-negative", method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"weighed","body":{"when":"raw","mass_kg":-3},"by":"KM"}`, status: 400},
	{golden: "record-unknown-key", method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"note","body":{"txt":"x"},"by":"KM"}`, status: 400},
	{golden: "record-unknown-kind", method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"wish","body":{},"by":"KM"}`, status: 400, undocumentedIn: true},
	{method: "POST", path: v1 + "/records", body: `{"lot":"m9","kind":"note","body":{"text":"x"},"by":"KM"}`, status: 404},
	{method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"note","body":{"text":"x"}}`, status: 400},
	{method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"note","body":{"text":"x"},"by":"daemon"}`, status: 400},
	{method: "POST", path: v1 + "/records", body: `{"lot":"m1","kind":"note","body":{"text":"x"},"by":"KM","pin":"1234"}`, status: 400},
	{method: "POST", path: v1 + "/records", status: 201, body: `{"lot":"m1","kind":"stage-started","body":{"stage":"smoke","probes":["flat"],"cook":7},"by":"KM","at":"2026-11-26T02:00:00Z"}`},
	{method: "POST", path: v1 + "/records", status: 201,
		body: `{"kind":"probe-checked","body":{"instrument":"flat","method":"ice","points":[{"true_c":0,"read_c":0.3}],"tolerance_k":1,"passed":true},"by":"KM","at":"2026-11-25T08:00:00Z"}`},
	{golden: "record-monitoring", method: "POST", path: v1 + "/records", status: 201,
		body: `{"lot":"m1","kind":"monitoring","body":{"ccp":"3 smoking","limit":"71.2 °C","celsius":68.4,"instrument":"flat","verdict":"missed"},"by":"KM"}`},
	{method: "POST", path: v1 + "/records", status: 201, body: `{"lot":"m1","kind":"deviation","body":{"what":"68.4 °C at the end of smoking","ccp":"3 smoking"},"by":"KM"}`},
	{golden: "record-open-deviation", method: "POST", path: v1 + "/records", status: 409, body: `{"lot":"m1","kind":"pre-shipment-review","body":{"ship":true},"by":"ST"}`},
	{method: "POST", path: v1 + "/records", status: 201,
		body: `{"lot":"m1","kind":"corrective-action","body":{"deviation":8,"cause":"fire went low","control_restored":"fed, cooked on to 71.5 °C","prevention":"alarm at 95 °C","disposition":"reworked"},"by":"KM"}`},
	{golden: "record-own-review", method: "POST", path: v1 + "/records", status: 409, body: `{"lot":"m1","kind":"pre-shipment-review","body":{"ship":true},"by":"km"}`},
	{method: "POST", path: v1 + "/records", status: 201, body: `{"lot":"m1","kind":"pre-shipment-review","body":{"ship":true},"by":"ST"}`},
	{golden: "lots", method: "GET", path: v1 + "/lots?running=true&limit=1", status: 200},
	{golden: "lot", method: "GET", path: v1 + "/lots/m1", template: v1 + "/lots/{lot}", status: 200},
	{method: "GET", path: v1 + "/lots/m9", template: v1 + "/lots/{lot}", status: 404},
	{golden: "records", method: "GET", path: v1 + "/records?lot=m1&kind=weighed&kind=deviation", status: 200},
	{golden: "records-page", method: "GET", path: v1 + "/records?newest=true&limit=1&before=3", status: 200},
	{method: "GET", path: v1 + "/records?kind=wish&after=0", status: 400, undocumentedIn: true},
	{golden: "record", method: "GET", path: v1 + "/records/3", template: v1 + "/records/{seq}", status: 200},
	{method: "GET", path: v1 + "/records/999", template: v1 + "/records/{seq}", status: 404},
	{golden: "checkpoint", method: "POST", path: v1 + "/records/checkpoints", status: 200},
	{method: "GET", path: v1 + "/records/checkpoints?limit=3", status: 200},
	{golden: "records-export", method: "GET", path: v1 + "/records/export?lot=m1", status: 200},
	{method: "GET", path: v1 + "/records/export?lot=m9", status: 404},
	{method: "GET", path: v1 + "/lots/m1/export?format=pdf", template: v1 + "/lots/{lot}/export", status: 200},
	{golden: "lot-csv", method: "GET", path: v1 + "/lots/m1/export?format=csv", template: v1 + "/lots/{lot}/export", status: 200},
	{golden: "records-export", method: "GET", path: v1 + "/lots/m1/export?format=json", template: v1 + "/lots/{lot}/export", status: 200},
	{method: "GET", path: v1 + "/lots/m9/export?format=pdf", template: v1 + "/lots/{lot}/export", status: 404},
	{method: "GET", path: v1 + "/lots/m1/export?format=doc", template: v1 + "/lots/{lot}/export", status: 400, undocumentedIn: true},
	{method: "POST", path: v1 + "/records/key", body: `{"by":"KM"}`, status: 201},
	{golden: "records-key", method: "GET", path: v1 + "/records/key", status: 200},
}

// What is too large is refused before it is read.
func TestRecords_RefusesAMegabyte(t *testing.T) {
	s := newServer(t, webtest.NewShelf(t), webtest.Books(t))
	body := `{"id":"m1","product":"` + strings.Repeat("x", 1<<20) + `","by":"KM"}`
	webtest.MustProblem(t, webtest.Send(s, webtest.Request("POST", v1+"/lots", body)), 413)
	body = `{"id":"m1","product":"` + strings.Repeat("x", 900<<10) + `","by":"KM"}`
	webtest.MustProblem(t, webtest.Send(s, webtest.Request("POST", v1+"/lots", body)), 400)
}
