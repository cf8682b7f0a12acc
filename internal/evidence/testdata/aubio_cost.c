/* CPU seconds that aubio's pitch reader takes for a second of sound, audio already in memory.
 *
 *   aubio_cost METHOD WINDOW HOP RATE PASSES FILE    FILE: raw float samples of this machine
 */
#include <aubio/aubio.h>
#include <stdio.h>
#include <stdlib.h>
#include <time.h>

static double cpu(void)
{
	struct timespec t;
	clock_gettime(CLOCK_PROCESS_CPUTIME_ID, &t);
	return t.tv_sec + 1e-9 * t.tv_nsec;
}

int main(int argc, char **argv)
{
	if (argc != 7) return 2;
	uint_t window = atoi(argv[2]), hop = atoi(argv[3]), rate = atoi(argv[4]);
	int passes = atoi(argv[5]);
	FILE *f = fopen(argv[6], "rb");
	if (!f || fseek(f, 0, SEEK_END)) return 1;
	size_t n = ftell(f) / sizeof(smpl_t);
	smpl_t *samples = malloc(n * sizeof(smpl_t));
	rewind(f);
	if (!samples || fread(samples, sizeof(smpl_t), n, f) != n) return 1;

	aubio_pitch_t *pitch = new_aubio_pitch(argv[1], window, hop, rate);
	if (!pitch) return 1;
	aubio_pitch_set_silence(pitch, -90); /* dB; its default mutes the decay of a string */
	fvec_t *out = new_fvec(1);
	double pitched = 0, least = 1e9;
	for (int pass = 0; pass < passes; pass++) {
		double began = cpu();
		for (size_t at = 0; at + hop <= n; at += hop) {
			fvec_t in = { hop, samples + at };
			aubio_pitch_do(pitch, &in, out);
			pitched += out->data[0] > 0;
		}
		double took = cpu() - began;
		if (took < least) least = took;
	}
	/* The quickest pass, and the share of hops with a pitch, to see that it worked. */
	printf("%.9g %.3f\n", least * rate / n, pitched * hop / ((double)n * passes));
	return 0;
}
