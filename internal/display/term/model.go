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
		m.scene.help = !m.scene.help
	case "space":
		m.scene.paused = !m.scene.paused
	case "esc":
		if m.scene.help {
			m.scene.help = false
			break
		}
		m.act(Action{Order: LetGo})
	case "a":
		m.act(Action{Order: LetGo})
	case "c":
		m.screen.forget()
		m.act(Action{Order: Clear})
	default:
		if a, ok := holdAction(key, m.scene.frame.Strings); ok {
			m.act(a)
		}
	}
	return nil
}

// act hands an action on, and shows a new hold at once, so that the next key counts from it.
func (m *model) act(a Action) {
	if a.Order != Clear {
		m.screen.markHeld(a.String)
		setHeld(&m.scene.frame, a.String)
	}
	if m.screen.options.Act != nil {
		m.screen.options.Act(a)
	}
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
