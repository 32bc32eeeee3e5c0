// Hands on the samples of the microphone as they are: in blocks, each once, in order.

const BLOCK = 2048; // frames

class Tap extends AudioWorkletProcessor {
  constructor({ processorOptions }) {
    super();
    this.channels = processorOptions.channels;
    this.ended = false;
    this.number = 0;
    this.fresh();
    this.port.onmessage = () => this.end();
  }

  fresh() {
    this.block = new Float32Array(BLOCK * this.channels);
    this.filled = 0; // frames
  }

  process([input]) {
    if (this.ended) return false;
    if (!input.length) return true; // the microphone has not begun
    const frames = input[0].length;
    for (let i = 0; i < frames; i += 1) {
      for (let c = 0; c < this.channels; c += 1) {
        this.block[this.filled * this.channels + c] = (input[c] ?? input[0])[i];
      }
      this.filled += 1;
      if (this.filled === BLOCK) this.hand();
    }
    return true;
  }

  hand() {
    if (!this.filled) return;
    const samples = this.block.slice(0, this.filled * this.channels);
    this.port.postMessage({ number: this.number, samples }, [samples.buffer]);
    this.number += 1;
    this.fresh();
  }

  // What is in the block when the recording is stopped belongs to it.
  end() {
    if (this.ended) return;
    this.ended = true;
    this.hand();
    this.port.postMessage({ blocks: this.number });
  }
}

registerProcessor("crowlight-tap", Tap);
