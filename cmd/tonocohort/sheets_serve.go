package main

import (
	"context"
	"crypto/rand"
	"crypto/subtle"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"mime"
	"net"
	"net/http"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"tonocohort/pipeline"
)

// serveBook serves the book until the command is interrupted.
func (f *sheetsFlags) serveBook(cmd *cobra.Command, reviews *pipeline.ReviewsFile) error {
	root, err := os.OpenRoot(f.Out)
	if err != nil {
		return err
	}
	defer root.Close()
	listener, err := net.Listen("tcp4", "127.0.0.1:0")
	if err != nil {
		return err
	}
	secret := make([]byte, 32)
	if _, err := rand.Read(secret); err != nil {
		return err
	}
	s := &bookServer{host: listener.Addr().String(), token: base64.RawURLEncoding.EncodeToString(secret), book: root, reviews: reviews}
	out := cmd.ErrOrStderr()
	fmt.Fprintf(out, "verdicts are written to %s as they are made; what others decided there stays\n", reviews.Name)
	if hint := reviews.Hint(); hint != "" && f.Reviews == "" {
		fmt.Fprintln(out, hint)
	}
	fmt.Fprintln(out, "open this address in a browser on this machine, keep it to yourself, and end with Ctrl-C:")
	fmt.Fprintf(cmd.OutOrStdout(), "http://%s/%s/\n", s.host, s.token)
	return s.serve(cmd.Context(), listener)
}

// bookServer gives one book to one person on this machine, and takes verdicts.
// Whoever lacks the token gets nothing, whatever page they come from; a page of
// another origin that learns the port by chance is refused by Host and Origin.
type bookServer struct {
	host    string // address and port, as a browser must name them
	token   string
	book    *os.Root
	reviews *pipeline.ReviewsFile
}

func (s *bookServer) serve(ctx context.Context, l net.Listener) error {
	server := &http.Server{Handler: s, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 30 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10}
	stop := context.AfterFunc(ctx, func() {
		patient, cancel := context.WithTimeout(context.Background(), patience/2)
		defer cancel()
		if server.Shutdown(patient) != nil { // a verdict that is being written is waited for
			server.Close()
		}
	})
	defer stop()
	if err := server.Serve(l); !errors.Is(err, http.ErrServerClosed) {
		return err
	}
	return context.Cause(ctx)
}

// mostVerdicts bounds the body of a request.
const mostVerdicts = 1 << 20

// ServeHTTP answers a request that comes from the book itself.
func (s *bookServer) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	for name, value := range map[string]string{
		"Cache-Control":                "no-store",
		"Content-Security-Policy":      pipeline.SheetsPolicy() + "; frame-ancestors 'none'",
		"Cross-Origin-Opener-Policy":   "same-origin",
		"Cross-Origin-Resource-Policy": "same-origin",
		"Referrer-Policy":              "no-referrer",
		"X-Content-Type-Options":       "nosniff",
		"X-Frame-Options":              "DENY",
	} {
		h.Set(name, value)
	}
	name, ok := s.admitted(r)
	switch {
	case !ok:
		http.Error(w, "not here", http.StatusForbidden)
	case name == "decisions":
		s.decisions(w, r)
	case r.Method != http.MethodGet && r.Method != http.MethodHead:
		http.Error(w, "only reading", http.StatusMethodNotAllowed)
	case name == "":
		http.Redirect(w, r, "/"+s.token+"/index.html", http.StatusSeeOther)
	default:
		s.page(w, r, name)
	}
}

// admitted checks host, origin and token, and gives what is asked for below it.
func (s *bookServer) admitted(r *http.Request) (name string, ok bool) {
	if r.Host != s.host {
		return "", false // a name that was made to point at this machine
	}
	if origin := r.Header.Get("Origin"); origin != "" && origin != "http://"+s.host {
		return "", false
	}
	switch r.Header.Get("Sec-Fetch-Site") {
	case "", "same-origin", "none":
	default:
		return "", false
	}
	token, name, ok := strings.Cut(strings.TrimPrefix(r.URL.Path, "/"), "/")
	same := subtle.ConstantTimeCompare([]byte(token), []byte(s.token)) == 1
	return name, ok && same
}

func (s *bookServer) page(w http.ResponseWriter, r *http.Request, name string) {
	if !pipeline.IsBookPage(name) {
		http.NotFound(w, r)
		return
	}
	file, err := s.book.Open(name)
	if err != nil {
		http.NotFound(w, r)
		return
	}
	defer file.Close()
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	http.ServeContent(w, r, name, time.Time{}, file)
}

// decisions tells what was decided since the book was opened, and takes more.
func (s *bookServer) decisions(w http.ResponseWriter, r *http.Request) {
	switch r.Method {
	case http.MethodGet:
		w.Header().Set("Content-Type", "application/json")
		// A browser that is gone needs no answer.
		_ = json.NewEncoder(w).Encode(map[string]any{"file": s.reviews.Name, "decisions": s.reviews.Verdicts()})
	case http.MethodPost:
		s.take(w, r)
	default:
		http.Error(w, "GET or POST", http.StatusMethodNotAllowed)
	}
}

func (s *bookServer) take(w http.ResponseWriter, r *http.Request) {
	// A form of another page can send neither this header nor this type.
	kind, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if kind != "application/json" || r.Header.Get("Origin") != "http://"+s.host {
		http.Error(w, "not here", http.StatusForbidden)
		return
	}
	var body struct {
		Changes []pipeline.Verdict `json:"changes"`
	}
	decoder := json.NewDecoder(http.MaxBytesReader(w, r.Body, mostVerdicts))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&body); err != nil {
		http.Error(w, "not verdicts", http.StatusBadRequest)
		return
	}
	err := s.reviews.Change(body.Changes)
	switch {
	case errors.Is(err, pipeline.ErrReviewsChanged):
		http.Error(w, err.Error(), http.StatusConflict)
	case err != nil:
		http.Error(w, err.Error(), http.StatusBadRequest)
	default:
		w.WriteHeader(http.StatusNoContent)
	}
}
