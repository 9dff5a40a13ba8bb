package api_test

// wayCalls are a lot on its way from the brine to the freezer, in the order of the contract's test. The night of the test is
// that from 25 to 26 November, its now 02:14 in Chicago.
var wayCalls = []call{
	{method: "POST", path: v1 + "/lots", status: 201, body: `{"id":"w1","product":"Pastrami","pieces":[{"id":"flat","cut":"brisket_flat_cured"}],"by":"KM","at":"2026-11-10T08:00:00Z"}`},
	{method: "POST", path: v1 + "/records", status: 201, body: `{"lot":"w1","kind":"raw-material","body":{"name":"brisket","reference":"L1","mass_kg":4,"price":48,"currency":"EUR"},"by":"KM","at":"2026-11-10T08:00:00Z"}`},
	{method: "POST", path: v1 + "/records", status: 201, body: `{"lot":"w1","kind":"weighed","body":{"when":"raw","mass_kg":4},"by":"KM","at":"2026-11-10T08:10:00Z"}`},
	{method: "POST", path: v1 + "/records", status: 201, body: `{"lot":"w1","kind":"weighed","body":{"when":"trimmed","mass_kg":3.2},"by":"KM","at":"2026-11-10T09:00:00Z"}`},
	{golden: "way-cure", method: "POST", path: v1 + "/lots/w1/stage", template: v1 + "/lots/{lot}/stage", status: 201, body: `{"to":"cure","probes":["cooler"],"by":"KM","at":"2026-11-11T08:00:00Z"}`},
	{golden: "way-unwatched", method: "POST", path: v1 + "/lots/w1/stage", template: v1 + "/lots/{lot}/stage", status: 201, body: `{"to":"dry","by":"KM","at":"2026-11-25T08:00:00Z"}`},
	{golden: "way-smoke", method: "POST", path: v1 + "/lots/w1/stage", template: v1 + "/lots/{lot}/stage", status: 201, body: `{"to":"smoke","cook":7,"by":"KM","at":"2026-11-26T02:00:00Z"}`},
	{method: "POST", path: v1 + "/lots/w1/stage", template: v1 + "/lots/{lot}/stage", status: 404, body: `{"to":"smoke","cook":99,"by":"KM"}`},
	{method: "POST", path: v1 + "/lots/w1/stage", template: v1 + "/lots/{lot}/stage", status: 400, undocumentedIn: true, body: `{"to":"fry","by":"KM"}`},
	{golden: "way-by-piece", method: "POST", path: v1 + "/lots/w1/stage", template: v1 + "/lots/{lot}/stage", status: 409, body: `{"to":"hold","piece":"flat","by":"KM"}`},
	{method: "GET", path: v1 + "/lots/w1/plan", template: v1 + "/lots/{lot}/plan", status: 404},
	{method: "POST", path: v1 + "/plans", status: 201, body: `{"serve":"2026-11-26T16:00:00-06:00","pit_c":110,"pieces":[{"id":"flat","cut":"brisket_flat_cured","mass_kg":3.1,"thickness_mm":58,"target_c":92.5}],"lot":"w1"}`},
	{golden: "way-plan", method: "GET", path: v1 + "/lots/w1/plan", template: v1 + "/lots/{lot}/plan", status: 200},
	{method: "POST", path: v1 + "/lots/w1/stage", template: v1 + "/lots/{lot}/stage", status: 400, undocumentedIn: true, body: `{"by":"KM","at":"2026-11-26T07:30:00Z"}`}, // forgotten: it must not end what runs
	{method: "POST", path: v1 + "/lots/w1/stage", template: v1 + "/lots/{lot}/stage", status: 201, body: `{"to":"none","by":"KM","at":"2026-11-26T07:30:00Z"}`},
	{method: "POST", path: v1 + "/lots/w1/stage", template: v1 + "/lots/{lot}/stage", status: 409, body: `{"to":"none","by":"KM"}`},
	{method: "POST", path: v1 + "/records", status: 201, body: `{"lot":"w1","kind":"weighed","body":{"when":"smoked","mass_kg":2.1},"by":"KM","at":"2026-11-26T07:40:00Z"}`},
	{golden: "way-yield", method: "GET", path: v1 + "/lots/w1/yield", template: v1 + "/lots/{lot}/yield", status: 200},
	{golden: "stock-in", method: "POST", path: v1 + "/stock", status: 201, body: `{"lot":"w1","portions":6,"mass_kg":0.25,"kept":"frozen","where":"freezer 2","by":"KM"}`},
	{method: "POST", path: v1 + "/stock", status: 201, body: `{"lot":"w1","portions":2,"kept":"refrigerated","standard":"food-code-cold","by":"KM"}`},
	{method: "POST", path: v1 + "/stock", status: 400, body: `{"lot":"w1","portions":2,"kept":"refrigerated","standard":"usda-frozen","by":"KM"}`},
	{method: "POST", path: v1 + "/stock", status: 400, body: `{"lot":"w1","portions":0,"kept":"frozen","by":"KM"}`},
	{method: "POST", path: v1 + "/stock", status: 404, body: `{"lot":"w9","portions":2,"kept":"frozen","by":"KM"}`},
	{golden: "stock-taken", method: "POST", path: v1 + "/stock/take", status: 201, body: `{"product":"Pastrami","portions":7,"why":"served","by":"KM"}`},
	{golden: "stock-short", method: "POST", path: v1 + "/stock/take", status: 409, body: `{"product":"Pastrami","portions":7,"by":"KM"}`},
	{golden: "stock", method: "GET", path: v1 + "/stock", status: 200},
	{golden: "stock-standards", method: "GET", path: v1 + "/stock/standards", status: 200},
	{golden: "way", method: "GET", path: v1 + "/lots/w1/timeline", template: v1 + "/lots/{lot}/timeline", status: 200},
	{method: "GET", path: v1 + "/lots/w1", template: v1 + "/lots/{lot}", status: 200},
}
