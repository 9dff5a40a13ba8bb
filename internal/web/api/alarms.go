package api

import (
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"

	"stallkeeper/internal/alarm"
	"stallkeeper/internal/cook"
	"stallkeeper/internal/web/problem"
	"stallkeeper/internal/web/visitor"
)

// longestShelf is how long an alarm may be put aside at once. Choice of this project.
const longestShelf = 24 * time.Hour

// getAlarms lists the alarms that are open, or those that have been.
func (api *API) getAlarms(w http.ResponseWriter, r *http.Request) error {
	q := queryOf(r, nil, "history", "before", "limit")
	past, before, limit := q.yes("history"), q.time("before"), q.count("limit", 100, 1000)
	if !past && (q.values.Has("before") || q.values.Has("limit")) {
		q.fail("before and limit go with history=true only")
	}
	if err := q.err(); err != nil {
		return err
	}
	answer := struct {
		Alarms []alarm.Alarm `json:"alarms"`
		Next   *string       `json:"next"`
	}{Alarms: []alarm.Alarm{}}
	if !past {
		answer.Alarms = append(answer.Alarms, api.opts.View.Snapshot().Alarms...)
		return api.give(w, r, http.StatusOK, answer)
	}
	kept, err := api.opts.Library.AlarmHistory(r.Context(), before, limit+1)
	if err != nil {
		return err
	}
	more := len(kept) > limit
	if more {
		kept = kept[:wholeMoments(kept)]
	}
	answer.Alarms = append(answer.Alarms, kept...)
	if more {
		answer.Next = next(r, true, "limit", strconv.Itoa(limit), "before", kept[len(kept)-1].Changed.UTC().Format(time.RFC3339Nano))
	}
	return api.give(w, r, http.StatusOK, answer)
}

// wholeMoments is how many alarms a page may hold without parting those that changed at one moment, for the next page
// begins before a moment. The last of kept is the first that the page has no room for.
func wholeMoments(kept []alarm.Alarm) int {
	n := len(kept) - 1
	for n > 0 && kept[n-1].Changed.Equal(kept[n].Changed) {
		n--
	}
	if n == 0 { // more changed at one moment than a page holds
		return len(kept) - 1
	}
	return n
}

func (api *API) openAlarm(id alarm.ID) (alarm.Alarm, error) {
	all := api.opts.View.Snapshot().Alarms
	i := slices.IndexFunc(all, func(a alarm.Alarm) bool { return a.ID == id })
	if i < 0 {
		return alarm.Alarm{}, problem.New(http.StatusNotFound, "Not found", "no alarm "+problem.Clip(string(id))+" is open: see /api/v1/alarms")
	}
	return all[i], nil
}

func (api *API) getAlarm(w http.ResponseWriter, r *http.Request) error {
	a, err := api.openAlarm(alarm.ID(r.PathValue("id")))
	if err != nil {
		return err
	}
	return api.give(w, r, http.StatusOK, a)
}

// postAlarm acknowledges or shelves. The id of an alarm has a slash: the path may carry it as it is or as %2F.
func (api *API) postAlarm(w http.ResponseWriter, r *http.Request) error {
	path := r.PathValue("act")
	if id, ok := strings.CutSuffix(path, "/acknowledge"); ok {
		return api.acknowledge(w, r, alarm.ID(id))
	}
	if id, ok := strings.CutSuffix(path, "/shelve"); ok {
		return api.shelve(w, r, alarm.ID(id))
	}
	return problem.New(http.StatusNotFound, "Not found", "post to /api/v1/alarms/{id}/acknowledge or /api/v1/alarms/{id}/shelve")
}

func (api *API) acknowledge(w http.ResponseWriter, r *http.Request, id alarm.ID) error {
	var body struct {
		By string `json:"by"`
	}
	if err := take(r, &body, true); err != nil {
		return err
	}
	if err := cook.CheckText("by", body.By); err != nil {
		return problem.Bad("%s", problem.ClipTo(err.Error(), 200))
	}
	if _, err := api.openAlarm(id); err != nil {
		return err
	}
	if err := api.opts.Desk.Acknowledge(r.Context(), id, visitor.By(r, body.By)); err != nil {
		return problem.Saying(err, "this alarm cannot be acknowledged in its present state: see /api/v1/alarms")
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}

func (api *API) shelve(w http.ResponseWriter, r *http.Request, id alarm.ID) error {
	var body struct {
		Until time.Time `json:"until"`
		By    string    `json:"by"`
	}
	if err := take(r, &body, false); err != nil {
		return err
	}
	if err := cook.CheckText("by", body.By); err != nil {
		return problem.Bad("%s", problem.ClipTo(err.Error(), 200))
	}
	now := api.opts.Now()
	if !body.Until.After(now) || body.Until.After(now.Add(longestShelf)) {
		return problem.Bad("until is not within the next %d hours: send a time up to %s", int(longestShelf.Hours()), now.Add(longestShelf).UTC().Format(time.RFC3339))
	}
	if _, err := api.openAlarm(id); err != nil {
		return err
	}
	if err := api.opts.Desk.Shelve(r.Context(), id, body.Until.UTC(), visitor.By(r, body.By)); err != nil {
		return problem.Saying(err, "this alarm cannot be shelved in its present state: see /api/v1/alarms")
	}
	w.WriteHeader(http.StatusNoContent)
	return nil
}
