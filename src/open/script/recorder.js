// Hands the samples of a microphone on as they come.
/* global AudioWorkletProcessor, registerProcessor */

class Recorder extends AudioWorkletProcessor {
  process([input]) {
    if (input[0]) this.port.postMessage(input[0].slice());
    return true;
  }
}

registerProcessor("recorder", Recorder);
