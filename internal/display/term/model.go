package term

import (
	"time"

	tea "charm.land/bubbletea/v2"

	"tunerd/internal/display"
)

// framesPerSecond is how many drawings are made a second. Most of the cost is that of the
// terminal library, which compares every cell.
const (
	framesPerSecond = 32
	frameTime       = time.Second / framesPerSecond
)

// A tickMsg asks for a drawing of the given time.
type tickMsg time.Time

// A model is the state of the screen between messages.
type model struct {
	screen *Screen
	scene  scene
	canvas canvas
	w, h   int
	depth  depth
}

func newModel(s *Screen) *model {
	m := &model{screen: s, scene: scene{shutter: frameTime.Seconds()}, depth: mono}
	s.snapshot(&m.scene, s.clock())
	return m
}

func (m *model) Init() tea.Cmd { return nil }

func (m *model) Update(msg tea.Msg) (tea.Model, tea.Cmd) {
	switch msg := msg.(type) {
	case tickMsg:
		if m.scene.paused {
			break
		}
		m.screen.snapshot(&m.scene, time.Time(msg))
		if m.scene.ended && m.screen.options.QuitAtEnd {
			return m, tea.Quit
		}
	case tea.WindowSizeMsg:
		m.w, m.h = msg.Width, msg.Height
	case tea.ColorProfileMsg:
		m.depth = depthOf(msg.Profile)
	case tea.KeyPressMsg:
		return m, m.key(msg.String())
	}
	return m, nil
}

func (m *model) View() tea.View {
	m.canvas.draw(&m.scene, m.w, m.h, m.depth)
	v := tea.NewView(string(m.canvas.encode()))
	v.AltScreen = true
	return v
}

// key does what a key stands for.
func (m *model) key(key string) tea.Cmd {
	switch key {
	case "q", "Q", "ctrl+c":
		return tea.Quit
	case "ctrl+z":
		return tea.Suspend
	case "?", "h":
		if m.scene.help++; m.scene.help > helpPages(m.h) {
			m.scene.help = 0
		}
	case "space":
		m.scene.paused = !m.scene.paused
	case "esc":
		if m.scene.help > 0 {
			m.scene.help = 0
			break
		}
		m.act(Action{Order: LetGo})
	case "a":
		m.act(Action{Order: LetGo})
	case "c":
		m.screen.forget()
		m.act(Action{Order: Clear})
	case "y":
		m.act(Action{Order: Confirm})
	case "m":
		m.toggleTogether()
	case "x":
		m.act(Action{Order: SetRows, Rows: m.screen.otherRows()})
	case "ctrl+l":
		return tea.ClearScreen
	default:
		m.hold(key)
	}
	return nil
}

// hold holds the string that a key stands for. That is one of the newest frame: the picture may be
// frozen.
func (m *model) hold(key string) {
	rows, together := m.screen.strings()
	a, ok := holdAction(key, rows)
	if !ok {
		return
	}
	if together { // one string is compared by itself
		m.act(Action{Order: Single})
	}
	m.act(a)
}

// toggleTogether goes from one note at a time to all strings at once, or back.
func (m *model) toggleTogether() {
	switch rows, together := m.screen.strings(); {
	case together:
		m.act(Action{Order: Single})
	case len(rows) > 0:
		m.act(Action{Order: Together})
	}
}

// act hands an action on, and shows a new hold at once, so that the next key counts from it.
func (m *model) act(a Action) {
	if a.Order == Hold || a.Order == LetGo {
		m.screen.markHeld(a.String)
		if !m.scene.paused {
			setHeld(&m.scene.frame, a.String)
		}
	}
	if m.screen.options.Act != nil {
		m.screen.options.Act(a)
	}
}

// strings returns the strings of the newest frame, and whether they are read all at once.
func (s *Screen) strings() (rows []display.StringRow, together bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append(rows, s.frame.Strings...), s.frame.AllStrings
}

// otherRows is what the bands are not compared with.
func (s *Screen) otherRows() display.Rows {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.frame.Rows == display.HarmonicRows {
		return display.StringRows
	}
	return display.HarmonicRows
}

// markHeld marks string n of the newest frame as held, or none for 0.
func (s *Screen) markHeld(n int) {
	s.mu.Lock()
	defer s.mu.Unlock()
	setHeld(&s.frame, n)
}

func setHeld(f *display.Frame, n int) {
	for i := range f.Strings {
		f.Strings[i].Held = f.Strings[i].Number == n
	}
}
