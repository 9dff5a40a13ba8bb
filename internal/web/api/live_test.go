package api_test

import (
	"encoding/json"
	"net/http"
	"net/http/httptest"
	"testing"
	"time"

	"stallkeeper/internal/web/webtest"
)

func TestLive_CatchesUpAfterReconnecting(t *testing.T) {
	shelf := webtest.NewShelf(t)
	server := httptest.NewServer(newServer(t, shelf, nil))
	t.Cleanup(func() { http.DefaultClient.CloseIdleConnections(); server.Close() }) // after the streams, which are closed first

	first := webtest.OpenStream(t, server.URL, "")
	id, doc := first.Snapshot()
	if len(doc.Cooks) != 1 || len(doc.Alarms) != 3 || doc.Now == nil {
		t.Errorf("first snapshot: %+v", doc)
	}
	for _, p := range doc.Cooks[0].Pieces {
		if p.Path != nil {
			t.Error("the stream carries the fan")
		}
	}
	shelf.Change(func() { shelf.Snap.Alarms = shelf.Snap.Alarms[:1] })
	id2, doc := first.Snapshot()
	if id2 == id || len(doc.Alarms) != 1 {
		t.Errorf("after a change: id %s, %d alarms", id2, len(doc.Alarms))
	}
	first.Close()

	behind := webtest.OpenStream(t, server.URL, id) // missed the change
	if got, _ := behind.Snapshot(); got != id2 {
		t.Errorf("who is behind gets %s, want %s at once", got, id2)
	}
	behind.Close()

	abreast := webtest.OpenStream(t, server.URL, id2)
	for deadline := time.Now().Add(30 * time.Second); ; {
		if shelf.Watching() > 0 || time.Now().After(deadline) {
			break
		}
		time.Sleep(time.Millisecond)
	}
	shelf.Change(func() { shelf.Snap.Alarms = nil })
	if id3, doc := abreast.Snapshot(); id3 == id2 || len(doc.Alarms) != 0 {
		t.Errorf("who is abreast gets %s with %d alarms first, want the change", id3, len(doc.Alarms))
	}
}

func TestLive_IsDocumented(t *testing.T) {
	shelf := webtest.NewShelf(t)
	server := httptest.NewServer(newServer(t, shelf, nil))
	t.Cleanup(func() { http.DefaultClient.CloseIdleConnections(); server.Close() }) // after the streams, which are closed first
	e := webtest.OpenStream(t, server.URL, "").Next()
	var v any
	if err := json.Unmarshal([]byte(e.Data), &v); err != nil {
		t.Fatal(err)
	}
	if err := mustDocument(t).Components.Schemas["Snapshot"].Value.VisitJSON(v); err != nil {
		t.Error(err)
	}
}
