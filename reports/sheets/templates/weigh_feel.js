// What the weigh page says without being read: a large line, a buzz, and a tone for who wants it. It works without them.
"use strict";
const feel = (() => {
  const LOGGED = { buzz_ms: [60], hertz: 880 };
  const ASKED = { buzz_ms: [40, 60, 40], hertz: 220 };
  const TONE_S = 0.12;
  const LOUDNESS = 0.2;
  let sound = false;
  let audio = null;

  const tone = (hertz) => {
    if (!sound) return;
    try {
      audio ??= new AudioContext();
      const [wave, loud] = [audio.createOscillator(), audio.createGain()];
      wave.frequency.value = hertz;
      loud.gain.value = LOUDNESS;
      wave.connect(loud).connect(audio.destination);
      wave.start();
      wave.stop(audio.currentTime + TONE_S);
    } catch {
      sound = false; // no sound on this telephone
    }
  };
  const give = ({ buzz_ms, hertz }) => {
    navigator.vibrate?.(buzz_ms);
    tone(hertz);
  };
  return {
    logged: () => give(LOGGED),
    asked: () => give(ASKED),
    sound: (wanted) => (sound = wanted),
  };
})();
