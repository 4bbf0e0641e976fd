// A question about the round that comes while the page is open is told with two tones and a buzz.

const TONES_HZ = [660, 880];
const TONE_S = 0.18;

function ring() {
  navigator.vibrate?.([200, 100, 200]);
  const audio = new AudioContext();
  TONES_HZ.forEach((pitch, n) => {
    const tone = audio.createOscillator();
    const volume = audio.createGain();
    const from = audio.currentTime + n * TONE_S * 1.5;
    tone.frequency.value = pitch;
    volume.gain.setValueAtTime(0.2, from);
    volume.gain.exponentialRampToValueAtTime(0.001, from + TONE_S);
    tone.connect(volume).connect(audio.destination);
    tone.start(from);
    tone.stop(from + TONE_S);
  });
}

document.body.addEventListener("htmx:oobAfterSwap", (event) => {
  const target = event.detail.target;
  if (target.id !== "questions" || !document.querySelector("#questions[data-ring]")) return;
  document.querySelector("#questions").removeAttribute("data-ring");
  document.querySelector("#questions").scrollIntoView({ block: "nearest" });
  ring();
});
