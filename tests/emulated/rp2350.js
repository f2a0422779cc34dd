// One RP2350 of the emulator rp2350js, as a servant of rp2350.py: it runs while it is told
// to, and knows nothing of rigs.
//
//     node rp2350.js EMULATOR IMAGE.uf2 arm|riscv ERASE PROGRAM
//
// EMULATOR is the folder of rp2350js, built; ERASE and PROGRAM are the addresses of
// flash_range_erase and flash_range_program in the image. A line of JSON comes in, time
// passes, a line goes out:
//
// in   {"for_ns": most time to pass, "conversions": [more for the converter], "serial":
//      base64, "moves": [[ns from now, pin, level, told]], "stalled": 0, "dtr": 1,
//      "flash": [[offset, base64]]}
// out  {"ns": the board's time, "left": conversions not yet taken, "taken": those that were,
//      "serial": base64, "room": bytes that `serial` may have, "changes": [[ns, pin, level]],
//      "moved": [[ns, pin, level, taken, told]], "resets": [ns], "connected": 1}
//
// Time stops early when conversions run out or a pin has changed. What the emulator does not
// model, or models otherwise than the data sheet, is mended in `Chip`, and said there.
'use strict';

const fs = require('fs');
const path = require('path');
const [folder, image, arch] = process.argv.slice(2);
const [erase, program] = process.argv.slice(5).map(Number);
const built = (name) => require(path.join(folder, 'dist', 'cjs', name));
const { RP2350, USBCDC } = built('index.js');
const { FIFO } = built('utils/fifo.js');
const { ConsoleLogger, LogLevel } = built('utils/logging.js');

const coprocessors = built('cortex-m33/coprocessor.js');

const SYSTEM_HZ = 150e6; // MicroPython sets it; the emulator does not follow
const CONVERSION_NS = 2000;
const HOST_NS = 100_000;
const RESERVE = 8; // conversions in hand when more are asked for
const INTERRUPTS_AT = 0x230, INTERRUPT_GROUP = 0x18; // RP2350 data sheet, 9.11.1, INTR0

// The coprocessor of the pins, which the SDK's functions use on Arm, as its gpio_coproc.h has it
// (RP2350 data sheet, 3.6.1); the emulator has other codes. Pins 0 to 31 only.
const OUT = 0x10, ENABLE = 0x30, IN = 0x04, PUT = 0x00, SET = 0x08, CLEAR = 0x10, TOGGLE = 0x18;
const others = coprocessors.coprocessorExecute;
coprocessors.coprocessorExecute = (core, first, second) => {
  if ((second >> 8 & 15) !== 0) return others(core, first, second);
  const { r } = core.regs, { sio } = core.chip;
  const isPair = (first & 0xff00) === 0xec00, isRead = first >> 4 & 1;
  const target = second & 15, isHigh = target & 1;
  const from = second >> 12 & 15, other = first & 15;
  const base = target & 8 ? IN : target & 4 ? ENABLE : OUT;
  if (isRead) {
    r[from] = isHigh ? 0 : sio.readUint32(base, core.coreIndex);
    if (isPair) r[other] = 0;
    return 1;
  }
  const code = isPair ? second >> 4 & 15 : first >> 5 & 7;
  const how = [PUT, TOGGLE, SET, CLEAR][code & 3];
  const write = (kind, mask) => sio.writeUint32(base + kind, mask >>> 0, core.coreIndex);
  if (code < 4) {
    if (!isHigh || isPair) write(how, r[from]);
  } else if (code < 8) {
    const high = isPair ? r[other] & 1 : 1, mask = r[from] < 32 ? 1 << r[from] : 0;
    if (how === PUT) write(high ? SET : CLEAR, mask);
    else if (high) write(how, mask);
  } else if (r[other] === 0) write(how, r[from]);
  return 1;
};

// Loads and stores of double registers, which the compiler moves 64 bits with (Arm v8-M manual,
// VLDR, VSTR, VLDM, VSTM); the emulator does those of single registers, and not bit by bit.
const fpu = built('cortex-m33/execute-fpu.js');
const singles = fpu.fpuExecute;
fpu.fpuExecute = (core, first, second) => {
  const isDouble = (second >> 8 & 15) === 11 && (first & 0xfe00) === 0xec00;
  if (!isDouble || (first & 0x1e0) === 0x40) return singles(core, first, second);
  const isUp = first >> 7 & 1, isBack = first >> 5 & 1, isLoad = first >> 4 & 1, base = first & 15;
  const isOne = first >> 8 & 1 && !isBack;
  const { r, s } = core.regs, bits = new Uint32Array(s.buffer, s.byteOffset, 32);
  const from = base === 15 ? core.regs.pc & ~3 : base === 13 ? core.regs.sp : r[base];
  const words = second & 0xff, moved = (isUp ? from + 4 * words : from - 4 * words) >>> 0;
  let address = isOne || !isUp ? moved : from >>> 0;
  const register = 2 * ((first >> 2 & 16) | (second >> 12 & 15));
  for (let i = 0; i < (isOne ? 2 : words & ~1); i++, address += 4) {
    if (isLoad) bits[register + i] = core.chip.readUint32(address);
    else core.chip.writeUint32(address, bits[register + i]);
  }
  if (isBack && base === 13) core.regs.sp = moved;
  else if (isBack) r[base] = moved;
  return 2;
};

// An output reads back as what it drives.
function mendPin(pin) {
  const read = () => (pin.outputEnable ? pin.outputValue : pin.rawInputValue) && pin.inputEnable;
  Object.defineProperty(pin, 'inputValue', { get: read });
}

class Chip {
  constructor(state) {
    this.state = state;
    const mcu = (this.mcu = new RP2350({ coreArch: arch }));
    mcu.logger = new ConsoleLogger(LogLevel.Error, false);
    mcu.clkSys = mcu.clkPeri = SYSTEM_HZ;
    this.mendConverter();
    this.mendInterruptsOfPins();
    this.mendHost();
    mcu.gpio.forEach(mendPin);
    // A reset is of the whole chip; memory, scratch registers and flash live on.
    mcu.watchdog.onWatchdogTrigger = () => (state.again = true);
    mcu.watchdog.timer.frequency = 1e6; // that of RP2040, with its erratum, is twice as fast
    this.cdc = new USBCDC(mcu.usbCtrl);
    this.cdc.onSerialData = (bytes) => state.said.push(Buffer.from(bytes));
    this.cdc.onDeviceConnected = () => (state.connected = 1);
    state.inputs.forEach((level, pin) => mcu.gpio[pin].setInputValue(!!level));
    for (const pin of mcu.gpio) {
      pin.addListener((now, before) => this.changed(pin.index, now === 1, before === 1));
    }
  }

  // The data sheet's FIFO holds eight; round robin goes through the chosen channels.
  mendConverter() {
    const { adc } = this.mcu;
    adc.fifo = new FIFO(8);
    Object.defineProperty(adc, 'activeChannel', {
      get: () => (adc.cs >> 12) & 7,
      set: (channel) => (adc.cs = (adc.cs & ~(7 << 12)) | (channel << 12)),
    });
    adc.onADCRead = (channel) => {
      if (this.state.stalled) return;
      adc.currentChannel = channel;
      adc.channelValues[channel] = this.state.next();
      adc.sampleAlarm.schedule(CONVERSION_NS);
    };
  }

  // Registers of eight pins each: INTR, then enable, force and status of processor 0.
  mendInterruptsOfPins() {
    const { mcu } = this;
    const io = mcu.peripherals[0x40028];
    const read = io.readUint32.bind(io), write = io.writeUint32.bind(io);
    const kinds = [
      (pin) => pin.irqStatus,
      (pin) => pin.irqEnableMask,
      (pin) => pin.irqForceMask,
      (pin) => (pin.irqStatus & pin.irqEnableMask) | pin.irqForceMask,
    ];
    const sets = [
      (pin, value, raw) => pin.updateIRQValue(raw),
      (pin, value) => (pin.irqEnableMask = value),
      (pin, value) => (pin.irqForceMask = value),
    ];
    const where = (offset) => {
      const behind = offset - INTERRUPTS_AT;
      return [Math.floor(behind / INTERRUPT_GROUP), ((behind % INTERRUPT_GROUP) >> 2) * 8];
    };
    io.readUint32 = (offset) => {
      if (offset < INTERRUPTS_AT || offset >= INTERRUPTS_AT + 4 * INTERRUPT_GROUP) {
        return read(offset);
      }
      const [kind, first] = where(offset);
      let value = 0;
      for (let i = 7; i >= 0; i--) value = (value << 4) | kinds[kind](mcu.gpio[first + i]);
      return value >>> 0;
    };
    io.writeUint32 = (offset, value) => {
      if (offset < INTERRUPTS_AT || offset >= INTERRUPTS_AT + 3 * INTERRUPT_GROUP) {
        return write(offset, value);
      }
      const [kind, first] = where(offset);
      for (let i = 0; i < 8; i++) {
        const pin = mcu.gpio[first + i];
        sets[kind](pin, (value >>> (4 * i)) & 15, (io.rawWriteValue >>> (4 * i)) & 15);
      }
      mcu.updateIOInterrupt();
    };
  }

  // A host takes its time from one request to the next; at once, a board may still be busy.
  mendHost() {
    const { usbCtrl, clock } = this.mcu;
    const send = usbCtrl.sendSetupPacket.bind(usbCtrl);
    usbCtrl.sendSetupPacket = (packet) => clock.createAlarm(() => send(packet)).schedule(HOST_NS);
  }

  changed(pin, high, wasHigh) {
    if (high !== wasHigh) {
      this.state.changes.push([this.state.ns(), pin, high ? 1 : 0]);
      this.state.levels[pin] = high;
    }
  }

  // The flash is read-only to the emulator: the image's own two functions are done here.
  doFlash() {
    const core = this.mcu.core[0];
    const at = core.PC & ~1; // the first one carries the bit of Thumb
    if (at !== erase && at !== program) return;
    const register = arch === 'arm' ? (i) => core.regs.r[i] >>> 0 : (i) => core.registerSet.getRegister(10 + i) >>> 0;
    const offset = register(0);
    const { flash, sram } = this.mcu;
    if (at === erase) {
      flash.fill(0xff, offset, offset + register(1));
    } else {
      for (let i = 0; i < register(2); i++) flash[offset + i] &= this.mcu.readUint8(register(1) + i);
    }
    core.PC = arch === 'arm' ? core.regs.lr & ~1 : core.registerSet.getRegister(1);
  }
}

// Machines that wait are woken by what they wait for; the others need every cycle.
function isBusy(pio) {
  if (!pio.machinesRunning) return 0;
  for (const machine of pio.machines) if (machine.enabled && !machine.waiting) return 1;
  return 0;
}

class Emulation {
  constructor() {
    this.inputs = new Array(48).fill(1); // an open input is pulled up
    this.levels = new Array(48).fill(false);
    this.said = [];
    this.inbox = [];
    this.changes = [];
    this.moved = [];
    this.resets = [];
    this.queue = [];
    this.taken = this.stalled = this.again = this.connected = 0;
    this.before_ns = 0; // of the lives before the last reset
    this.chip = new Chip(this);
    this.chip.mcu.loadFirmware(image, { initChip: false });
    this.chip.mcu.reset();
  }

  ns() {
    return this.before_ns + (this.chip ? this.chip.mcu.clock.nanos : 0);
  }

  next() {
    this.taken++;
    if (this.queue.length > 1) return this.queue.shift();
    return this.queue[0] || 0;
  }

  restart() {
    const old = this.chip.mcu;
    this.before_ns += old.clock.nanos;
    this.resets.push(this.before_ns);
    this.again = this.connected = 0;
    this.levels.forEach((high, pin) => high && this.changes.push([this.before_ns, pin, 0]));
    this.levels.fill(false);
    this.chip = null;
    this.chip = new Chip(this);
    const { mcu } = this.chip;
    mcu.flash.set(old.flash);
    mcu.sram.set(old.sram);
    mcu.watchdog.scratchData.set(old.watchdog.scratchData);
    mcu.watchdog.reason = old.watchdog.reason;
    mcu.reset();
  }

  move([delay_ns, pin, level, told]) {
    const { mcu } = this.chip;
    const set = () => {
      this.inputs[pin] = level;
      this.chip.mcu.gpio[pin].setInputValue(!!level);
      this.moved.push([this.ns(), pin, level, this.taken, told]);
    };
    if (delay_ns > 0) mcu.clock.createAlarm(set).schedule(delay_ns);
    else set();
  }

  hear() {
    const { cdc } = this.chip;
    if (!this.connected || !this.inbox.length) return;
    let room = cdc.txFIFO.size - cdc.txFIFO.itemCount;
    while (this.inbox.length && room-- > 0) {
      const byte = this.inbox.shift();
      if (this.inbox.length && room > 0) cdc.txFIFO.push(byte);
      else cdc.sendSerialByte(byte); // starts what is there
    }
  }

  // Some time: one instruction, or where both cores sleep all until something happens.
  step(end_ns) {
    const { mcu } = this.chip;
    const [one, two] = mcu.core;
    const busy = isBusy(mcu.pio[0]) | isBusy(mcu.pio[1]) << 1 | isBusy(mcu.pio[2]) << 2;
    const cycle_ns = 1e9 / mcu.clkSys;
    let cycles;
    const asleep = one.waiting && two.waiting && !one.interruptsUpdated && !two.interruptsUpdated;
    if (asleep && !busy) {
      const { clock } = mcu;
      const until_ns = clock.nextAlarm ? clock.nextAlarm.nanos : Infinity;
      const sleep_ns = Math.min(until_ns, end_ns - this.before_ns) - clock.nanos;
      cycles = Math.max(1, Math.ceil(sleep_ns / cycle_ns));
      one.cycles += cycles;
      two.cycles += cycles;
    } else {
      mcu.currentCore = 0;
      cycles = one.executeInstruction();
      this.chip.doFlash();
      mcu.currentCore = 1;
      if (two.waiting && !two.interruptsUpdated) two.cycles = one.cycles;
      while (two.cycles < one.cycles) two.executeInstruction();
    }
    for (let i = 0; i < 3; i++) if (busy >> i & 1) for (let j = 0; j < cycles; j++) mcu.pio[i].step();
    mcu.clock.tick(cycles * cycle_ns);
  }

  run(asked) {
    for (const [offset, data] of asked.flash || []) {
      this.chip.mcu.flash.set(Buffer.from(data, 'base64'), offset);
    }
    this.stalled = asked.stalled;
    const { adc } = this.chip.mcu;
    if (!this.stalled && adc.busy && !adc.sampleAlarm.scheduled) adc.startADCRead();
    for (const one of asked.conversions) this.queue.push(one);
    this.inbox.push(...Buffer.from(asked.serial, 'base64'));
    asked.moves.forEach((one) => this.move(one));
    if (asked.dtr !== undefined) this.chip.cdc.cdcSetControlLineState(asked.dtr ? 3 : 0);
    const end_ns = this.ns() + asked.for_ns;
    let steps = 0;
    while (this.ns() < end_ns && this.queue.length > RESERVE && !this.changes.length) {
      this.step(end_ns);
      if (this.again) this.restart();
      if ((steps++ & 255) === 0) this.hear();
    }
    return this.told();
  }

  told() {
    const { said, changes, moved, resets } = this;
    this.resets = [];
    this.said = [];
    this.changes = [];
    this.moved = [];
    return {
      ns: this.ns(), left: this.queue.length, taken: this.taken, changes, moved, resets,
      serial: Buffer.concat(said).toString('base64'),
      room: Math.max(0, 2048 - this.inbox.length), connected: this.connected,
    };
  }
}

function* lines() {
  const piece = Buffer.alloc(1 << 16);
  let rest = '';
  for (;;) {
    const count = fs.readSync(0, piece, 0, piece.length, null); // waits
    if (!count) return;
    const parts = (rest + piece.toString('latin1', 0, count)).split('\n');
    rest = parts.pop();
    yield* parts;
  }
}

const emulation = new Emulation();
for (const line of lines()) {
  try {
    fs.writeSync(1, JSON.stringify(emulation.run(JSON.parse(line))) + '\n');
  } catch (problem) {
    if (problem.code !== 'EPIPE') throw problem;
    break; // nobody listens any more
  }
}
