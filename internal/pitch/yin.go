package pitch

type yin struct{}
