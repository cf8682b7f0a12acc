const reading = document.getElementById("reading");
const stream = new EventSource("stream");
stream.addEventListener("frame", (event) => {
  const f = JSON.parse(event.data);
  reading.textContent = f.target
    ? `${f.target.label} ${f.cents.toFixed(2)} cents, ${f.state}`
    : f.hears;
});
stream.onerror = () => { reading.textContent = "The stream is lost; trying again."; };
