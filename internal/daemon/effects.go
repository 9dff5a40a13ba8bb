package daemon

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"

	"stallkeeper/internal/cook"
	"stallkeeper/internal/monitor"
)

// act publishes effects and keeps them, together with what could not be kept before. What is to be counted again is noted.
func (w *watch) act(ctx context.Context, effects []monitor.Effect) {
	for _, e := range effects {
		switch {
		case e.Forecast != nil:
			w.publish(fmt.Sprintf("stallkeeper/state/%d/%s", e.Forecast.Cook, e.Forecast.Piece), e.Forecast.JSON)
			if e.Forecast.Failed != nil {
				w.log.Error("no forecast", "cook", e.Forecast.Cook, "error", e.Forecast.Failed)
			}
			if e.Forecast.Keep {
				w.unkept = append(w.unkept, e)
			}
		case e.Alarm != nil:
			w.tell(e.Alarm)
			w.unkept = append(w.unkept, e)
		case e.Rewatch != nil:
			if w.rewatching != nil && w.rewatching.key == *e.Rewatch {
				w.giveUp() // it has changed: from the beginning
			}
			if !slices.Contains(w.stale, *e.Rewatch) {
				w.stale = append(w.stale, *e.Rewatch)
			}
		case e.Deviation != nil, e.Judged != nil:
			w.unsaid = append(w.unsaid, e)
		case e.Failed != nil:
			w.log.Error("no forecast", "error", e.Failed)
		case e.Recount != 0:
			if w.counting != nil && w.counting.id == e.Recount {
				w.giveUp() // it has changed: from the beginning
			}
			if !slices.Contains(w.owed, e.Recount) {
				w.owed = append(w.owed, e.Recount)
			}
		}
	}
	if len(w.unkept)+len(w.unsaid) > 0 {
		w.note(w.keep(context.WithoutCancel(ctx)))
	}
}

// keep writes what is to be kept, alarms first: nothing may stand between them and the people. On an error all that is not
// written stays for the next time.
func (w *watch) keep(ctx context.Context) error {
	for i := slices.IndexFunc(w.unkept, isAlarm); i >= 0; i = slices.IndexFunc(w.unkept, isAlarm) {
		if err := w.keepAlarm(ctx, w.unkept[i].Alarm); err != nil {
			return err
		}
		w.unkept = slices.Delete(w.unkept, i, i+1)
	}
	for len(w.unsaid) > 0 {
		if err := w.enter(ctx, w.unsaid[0]); err != nil {
			return err
		}
		w.unsaid = w.unsaid[1:]
	}
	if len(w.unkept) == 0 {
		return nil
	}
	forecasts := make([]cook.KeptForecast, len(w.unkept))
	for i, e := range w.unkept {
		forecasts[i] = e.Forecast.KeptForecast
	}
	if err := w.db.KeepForecasts(ctx, forecasts); err != nil {
		return err
	}
	w.unkept = nil
	return nil
}

func isAlarm(e monitor.Effect) bool { return e.Alarm != nil }

// keepAlarm keeps a change of an alarm, with what the notifier is to know of it.
func (w *watch) keepAlarm(ctx context.Context, a *monitor.Alarmed) error {
	if w.notify == nil {
		return w.db.KeepAlarm(ctx, a.Alarm)
	}
	body, err := telling(a)
	if err != nil {
		return err
	}
	if err := w.db.KeepAlarmToTell(ctx, a.Alarm, body); err != nil {
		return err
	}
	w.notify.Poke()
	return nil
}

// tell logs and publishes a change of an alarm.
func (w *watch) tell(a *monitor.Alarmed) {
	w.log.Info("alarm", "id", a.Alarm.ID, "state", a.Alarm.State, "priority", a.Alarm.Priority, "because", a.Because, "notify", a.Notify)
	payload, err := json.Marshal(a.Alarm)
	if err != nil {
		w.log.Error("alarm not published", "id", a.Alarm.ID, "error", err)
		return
	}
	w.publish("stallkeeper/alarm/"+string(a.Alarm.ID), payload)
}
