// Sets the theme before the first paint, so that a dark bench is not lit up by a white flash.
{
  let kept = null;
  try {
    kept = localStorage.getItem('tunerd.theme');
  } catch {
    /* private window */
  }
  const bright = matchMedia('(prefers-color-scheme: light)').matches;
  document.documentElement.dataset.theme = kept ?? (bright ? 'stage' : 'bench');
}
