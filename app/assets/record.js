/* A short tick when a swing was accepted; silent until the page is used, as browsers ask. */
window.dash_clientside = window.dash_clientside || {};
window.dash_clientside.record = {
  /* Rest before the next block, counted down here from what the server said was left. */
  rest: function (ticks, left) {
    const kept = window.dash_clientside.record;
    if (left === null || left === undefined) {
      kept.restUntil = null;
      return "";
    }
    const context = window.dash_clientside.callback_context;
    const told = context.triggered.some((one) => one.prop_id === "record-rest-left.data");
    if (told || !kept.restUntil) {
      kept.restUntil = Date.now() + 1000 * left;
    }
    const seconds = Math.ceil((kept.restUntil - Date.now()) / 1000);
    return seconds > 0 ? "Rest: " + seconds + " s" : "Rest is over. Begin when ready.";
  },

  tick: function (count, muted, before) {
    if (count === null || count === undefined) {
      return window.dash_clientside.no_update;
    }
    if (before !== null && before !== undefined && count > before && !muted) {
      const Sound = window.AudioContext || window.webkitAudioContext;
      if (Sound) {
        const context = window.swingspreadSound || new Sound();
        window.swingspreadSound = context;
        const tone = context.createOscillator();
        const volume = context.createGain();
        tone.frequency.value = 880;
        volume.gain.setValueAtTime(0.25, context.currentTime);
        volume.gain.exponentialRampToValueAtTime(0.001, context.currentTime + 0.12);
        tone.connect(volume).connect(context.destination);
        tone.start();
        tone.stop(context.currentTime + 0.13);
      }
    }
    return count;
  },
};
