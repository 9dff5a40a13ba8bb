package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// daemonAPI reaches a running daemon by its HTTP API.
type daemonAPI struct {
	URL      string `placeholder:"URL" help:"Where the daemon serves its pages (default: read from addresses.json in --data)."`
	Data     string `default:"stallkeeper-data" env:"STALLKEEPER_DATA" placeholder:"DIR" help:"Folder that serve uses (${default})."`
	User     string `placeholder:"NAME" help:"User, where the daemon asks for a login."`
	Password string `env:"STALLKEEPER_PASSWORD" placeholder:"WORD" help:"Password; better given as STALLKEEPER_PASSWORD."`
}

// addresses is the line that serve prints and keeps in addresses.json.
type addresses struct {
	HTTP   string `json:"http"`
	Broker string `json:"broker,omitempty"`
}

const addressesFile = "addresses.json"

func (a daemonAPI) base() (string, error) {
	if a.URL != "" {
		return strings.TrimRight(a.URL, "/"), nil
	}
	data, err := os.ReadFile(filepath.Join(a.Data, addressesFile))
	if err != nil {
		return "", fmt.Errorf("find the daemon: %w (is it running? give --url, or --data or STALLKEEPER_DATA with the folder that serve uses)", err)
	}
	var where addresses
	if err := json.Unmarshal(data, &where); err != nil {
		return "", fmt.Errorf("read %s: %w (give --url instead)", addressesFile, err)
	}
	return where.HTTP, nil
}

// call does one request; in and out are JSON and may be nil. An error carries what the daemon answered.
func (a daemonAPI) call(ctx context.Context, method, path string, in, out any) error {
	var body io.Reader
	if in != nil {
		data, err := json.Marshal(in)
		if err != nil {
			return err
		}
		body = bytes.NewReader(data)
	}
	answer, err := a.open(ctx, method, path, "application/json", body)
	if err != nil {
		return err
	}
	defer answer.Close()
	if out == nil {
		return nil
	}
	return json.NewDecoder(answer).Decode(out)
}

// open does one request with a body of that media type, and gives the body of a good answer.
func (a daemonAPI) open(ctx context.Context, method, path, media string, body io.Reader) (io.ReadCloser, error) {
	base, err := a.base()
	if err != nil {
		return nil, err
	}
	req, err := http.NewRequestWithContext(ctx, method, base+"/api/v1"+path, body)
	if err != nil {
		return nil, err
	}
	if body != nil {
		req.Header.Set("Content-Type", media)
	}
	if a.User != "" {
		req.SetBasicAuth(a.User, a.Password)
	}
	client := http.Client{Timeout: 2 * time.Minute}
	res, err := client.Do(req)
	if err != nil {
		return nil, fmt.Errorf("reach the daemon: %w (is it running?)", err)
	}
	if res.StatusCode < 300 {
		return res.Body, nil
	}
	defer res.Body.Close()
	var problem struct{ Title, Detail string }
	if err := json.NewDecoder(io.LimitReader(res.Body, 64<<10)).Decode(&problem); err != nil || problem.Title == "" {
		return nil, fmt.Errorf("%s %s: the daemon answered %s", method, path, res.Status)
	}
	return nil, fmt.Errorf("%s: %s", strings.ToLower(problem.Title), problem.Detail)
}
