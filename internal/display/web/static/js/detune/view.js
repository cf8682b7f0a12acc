export function create() { const element = document.createElement('section'); element.className='view detune'; return { element }; }
