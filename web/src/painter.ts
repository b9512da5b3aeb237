// Draws grey frames: as they are, or straightened (beams side by side, depth downwards). WebGL does the resampling and
// the display's gain and contrast; where there is no WebGL, a table and a plain canvas do the same.
import { toShare } from "./geometry";
import type { FramesHead, View } from "./types";

const VERTEX = `#version 300 es
in vec2 corner; out vec2 at;
void main() { at = vec2(corner.x * .5 + .5, .5 - corner.y * .5); gl_Position = vec4(corner, 0., 1.); }`;
const FRAGMENT = `#version 300 es
precision highp float;
in vec2 at; out vec4 colour;
uniform sampler2D picture;
uniform int shape;            // 0 as it is, 1 fan straightened, 2 box straightened
uniform vec4 fan;             // apex x, y; first angle, span       box: first x, near y, span x, span y
uniform vec4 reach;           // near r, span r, aspect, -
uniform vec4 sent;            // x0, y0, width, height of what was sent, in pixels of the full picture
uniform vec2 display;         // gain, contrast
void main() {
  vec2 p = at;
  if (shape == 1) {
    float angle = fan.z + at.x * fan.w, r = reach.x + at.y * reach.y;
    vec2 px = vec2(fan.x + r * sin(angle), fan.y + r * cos(angle) / reach.z);
    p = (px + .5 - sent.xy) / sent.zw;
  } else if (shape == 2) {
    vec2 px = vec2(fan.x + at.x * fan.z, fan.y + at.y * fan.w);
    p = (px + .5 - sent.xy) / sent.zw;
  }
  float v = texture(picture, p).r;
  v = clamp((v - .5) * display.y + .5 + display.x, 0., 1.);
  colour = vec4(v, v, v, 1.);
}`;

export interface Display { gain: number; contrast: number }

export interface Painter {
  /** What the frames to come look like. `straight` needs a view. */
  setUp(head: FramesHead, view: View | null, straight: boolean): void;
  draw(picture: Uint8Array, display: Display): void;
  readonly kind: string;
}

class GlPainter implements Painter {
  readonly kind = "webgl";
  private place: Record<string, WebGLUniformLocation | null> = {};
  private head: FramesHead | null = null;

  constructor(private gl: WebGL2RenderingContext, private canvas: HTMLCanvasElement) {
    const program = gl.createProgram()!;
    for (const [type, text] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]] as const) {
      const shader = gl.createShader(type)!;
      gl.shaderSource(shader, text);
      gl.compileShader(shader);
      if (!gl.getShaderParameter(shader, gl.COMPILE_STATUS)) throw new Error(gl.getShaderInfoLog(shader) ?? "shader");
      gl.attachShader(program, shader);
    }
    gl.bindAttribLocation(program, 0, "corner");
    gl.linkProgram(program);
    if (!gl.getProgramParameter(program, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(program) ?? "program");
    gl.useProgram(program);
    for (const name of ["shape", "fan", "reach", "sent", "display"]) this.place[name] = gl.getUniformLocation(program, name);
    gl.bindBuffer(gl.ARRAY_BUFFER, gl.createBuffer());
    gl.bufferData(gl.ARRAY_BUFFER, new Float32Array([-1, -1, 1, -1, -1, 1, 1, 1]), gl.STATIC_DRAW);
    gl.enableVertexAttribArray(0);
    gl.vertexAttribPointer(0, 2, gl.FLOAT, false, 0, 0);
    gl.bindTexture(gl.TEXTURE_2D, gl.createTexture());
    gl.pixelStorei(gl.UNPACK_ALIGNMENT, 1);
    for (const [name, value] of [[gl.TEXTURE_MIN_FILTER, gl.LINEAR], [gl.TEXTURE_MAG_FILTER, gl.LINEAR],
      [gl.TEXTURE_WRAP_S, gl.CLAMP_TO_EDGE], [gl.TEXTURE_WRAP_T, gl.CLAMP_TO_EDGE]] as const)
      gl.texParameteri(gl.TEXTURE_2D, name, value);
  }

  setUp(head: FramesHead, view: View | null, straight: boolean): void {
    const { gl, place } = this;
    this.head = head;
    gl.texImage2D(gl.TEXTURE_2D, 0, gl.R8, head.width, head.height, 0, gl.RED, gl.UNSIGNED_BYTE, null);
    const shape = !straight || !view ? 0 : view.shape === "linear" ? 2 : 1;
    gl.uniform1i(place["shape"]!, shape);
    gl.uniform4f(place["sent"]!, head.x0, head.y0, head.width * head.step, head.height * head.step);
    if (shape === 1)
      gl.uniform4f(place["fan"]!, view!.apex_x!, view!.apex_y!, view!.first_angle_rad!, view!.last_angle_rad! - view!.first_angle_rad!);
    if (shape === 2)
      gl.uniform4f(place["fan"]!, view!.first_x!, view!.near_y!, view!.last_x! - view!.first_x!, view!.far_y! - view!.near_y!);
    gl.uniform4f(place["reach"]!, view?.near_r ?? 0, (view?.far_r ?? 1) - (view?.near_r ?? 0), view?.aspect ?? 1, 0);
  }

  draw(picture: Uint8Array, display: Display): void {
    const { gl, head, canvas } = this;
    if (!head) return;
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.texSubImage2D(gl.TEXTURE_2D, 0, 0, 0, head.width, head.height, gl.RED, gl.UNSIGNED_BYTE, picture);
    gl.uniform2f(this.place["display"]!, display.gain, display.contrast);
    gl.drawArrays(gl.TRIANGLE_STRIP, 0, 4);
  }
}

class PlainPainter implements Painter {
  readonly kind = "plain";
  private table: Int32Array | null = null;
  private image: ImageData | null = null;
  private sheet = document.createElement("canvas");
  constructor(private context: CanvasRenderingContext2D, private canvas: HTMLCanvasElement) {}

  setUp(head: FramesHead, view: View | null, straight: boolean): void {
    const width = straight && view ? 256 : head.width, height = straight && view ? 384 : head.height;
    this.table = new Int32Array(width * height);
    for (let y = 0; y < height; y++)
      for (let x = 0; x < width; x++) {
        const p = straight && view ? toShare(head, view, (x + 0.5) / width, (y + 0.5) / height)
          : { x: (x + 0.5) / width, y: (y + 0.5) / height };
        const u = Math.floor(p.x * head.width), v = Math.floor(p.y * head.height);
        this.table[y * width + x] = u < 0 || v < 0 || u >= head.width || v >= head.height ? -1 : v * head.width + u;
      }
    this.sheet.width = width;
    this.sheet.height = height;
    this.image = new ImageData(width, height);
  }

  draw(picture: Uint8Array, display: Display): void {
    if (!this.table || !this.image) return;
    const grey = new Uint8ClampedArray(256), out = new Uint32Array(this.image.data.buffer), table = this.table;
    for (let i = 0; i < 256; i++) grey[i] = ((i / 255 - 0.5) * display.contrast + 0.5 + display.gain) * 255;
    for (let i = 0; i < table.length; i++) {
      const from = table[i]!, v = from < 0 ? 0 : grey[picture[from]!]!;
      out[i] = 0xff000000 | v << 16 | v << 8 | v;
    }
    this.sheet.getContext("2d")!.putImageData(this.image, 0, 0);
    this.context.drawImage(this.sheet, 0, 0, this.canvas.width, this.canvas.height);
  }
}

const painters = new WeakMap<HTMLCanvasElement, Painter>(); // a canvas gives one context, so it keeps one painter

export function painterFor(canvas: HTMLCanvasElement): Painter {
  let painter = painters.get(canvas);
  if (!painter) painters.set(canvas, painter = make(canvas));
  return painter;
}

function make(canvas: HTMLCanvasElement): Painter {
  const gl = canvas.getContext("webgl2", { alpha: false, antialias: false, depth: false, preserveDrawingBuffer: true });
  return gl ? new GlPainter(gl, canvas) : new PlainPainter(canvas.getContext("2d")!, canvas);
}
