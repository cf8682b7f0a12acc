package accuracy
import ("testing";"fmt";"tunerd/internal/sound";"math/rand/v2")
func TestZZ(t *testing.T){
	s := sound.String(82.4069)
	s.SNRdB = 40
	steady := make([]float64, int(0.2*48000))
	truth := s.Render(steady, 48000, rand.New(rand.NewPCG(1,2)))
	cfg := Config{SampleRate:48000}
	for _, tau := range []float64{0.1,0.15,0.2,0.25,0.3} {
		b, err := cfg.stringBound(gliding(truth, tau, 0.238), int(0.238*48000), truth.NoiseSigma)
		fmt.Println(tau, b, err)
	}
}
