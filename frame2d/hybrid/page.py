"""Live page of a test on loopback: one self-contained page that asks for numbers; nobody can command through it."""

import json
import threading
from collections import deque
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import numpy as np

from frame2d.errors import InputError
from frame2d.hybrid.caution import CAUTION
from frame2d.hybrid.outcome import Progress
from frame2d.hybrid.wire import is_loopback

PAGE = """<!doctype html><html lang="en"><meta charset="utf-8"><link rel="icon" href="data:,"><title>frame2d: test under way</title>
<style>
body{margin:0;background:#f5f2ea;color:#2b2a27;font:15px/1.45 Georgia,serif}
main{max-width:1100px;margin:auto;padding:18px}
h1{font-size:22px;margin:0 0 4px} p.caution{color:#8a3b12;font-size:13px;max-width:80ch;margin:2px 0 12px}
.row{display:flex;gap:22px;flex-wrap:wrap} .row b{font-size:21px;font-weight:normal;display:block}
.plots{display:grid;grid-template-columns:repeat(auto-fit,minmax(440px,1fr));gap:14px;margin-top:14px}
figure{margin:0;background:#fffdf8;border:1px solid #d9d2c0} figcaption{padding:6px 10px;font-size:13px;color:#6a6456}
canvas{width:100%;height:250px;display:block} .limit{margin:3px 0;display:flex;gap:8px;align-items:center;font-size:13px}
.limit span{width:70px} .limit div{flex:1;background:#e6dfcd;height:9px} .limit i{display:block;height:9px;background:#47706b}
.limit i.near{background:#b4571f} .bad{color:#b4571f}
</style><main><h1 id="title">Hybrid test under way</h1><p class="caution">@CAUTION@</p>
<div class="row" id="head"></div><div id="limits" style="margin-top:10px"></div>
<div class="plots"><figure><canvas id="u"></canvas><figcaption>displacement [mm]: measured (thick), wanted (light line inside)</figcaption></figure>
<figure><canvas id="e"></canvas><figcaption>tracking error [mm]</figcaption></figure>
<figure><canvas id="l"></canvas><figcaption>force [kN] over measured displacement [mm]</figcaption></figure>
<figure><canvas id="h"></canvas><figcaption>energy error [%]</figcaption></figure></div></main>
<script>
const ink="#47706b",pale="#b4571f";
function ticks(a,b){const r=(b-a)/6,p=10**Math.floor(Math.log10(r)),s=[1,2,5,10].map(k=>k*p).find(v=>v>=r),t=[];
for(let v=Math.ceil(a/s-1e-9)*s;v<=b+1e-9*s;v+=s)t.push(Math.abs(v)<1e-9*s?0:v);return[t,Math.max(0,-Math.floor(Math.log10(s)+1e-9))]}
function draw(id,sets,across){const c=document.getElementById(id),d=devicePixelRatio||1,w=c.clientWidth*d,h=c.clientHeight*d;
c.width=w;c.height=h;const g=c.getContext("2d");let x0=1/0,x1=-1/0,y0=1/0,y1=-1/0;
for(const s of sets)for(let i=0;i<s.x.length;i++){x0=Math.min(x0,s.x[i]);x1=Math.max(x1,s.x[i]);y0=Math.min(y0,s.y[i]);y1=Math.max(y1,s.y[i])}
if(!(x1>x0))x1=x0+1;if(!(y1>y0)){y0-=.5;y1+=.5}const X=v=>52*d+(v-x0)/(x1-x0)*(w-66*d),Y=v=>h-34*d-(v-y0)/(y1-y0)*(h-46*d);
g.font=11*d+"px Georgia";g.lineWidth=d;const[tx,nx]=ticks(x0,x1),[ty,ny]=ticks(y0,y1);g.textAlign="right";
for(const v of ty){g.strokeStyle=v?"#eee7d6":"#b9b09a";g.beginPath();g.moveTo(X(x0),Y(v));g.lineTo(X(x1),Y(v));g.stroke();g.fillStyle="#6a6456";g.fillText(v.toFixed(ny),46*d,Y(v)+4*d)}
g.textAlign="center";for(const v of tx){g.strokeStyle=v?"#eee7d6":"#b9b09a";g.beginPath();g.moveTo(X(v),Y(y0));g.lineTo(X(v),Y(y1));g.stroke();g.fillStyle="#6a6456";g.fillText(v.toFixed(nx),X(v),h-19*d)}
g.textAlign="right";g.fillText(across,X(x1),h-4*d);
for(const s of sets){g.strokeStyle=s.c;g.lineWidth=s.w*d;g.beginPath();s.x.forEach((v,i)=>i?g.lineTo(X(v),Y(s.y[i])):g.moveTo(X(v),Y(s.y[i])));g.stroke()}}
async function ask(){try{const r=await(await fetch("state.json")).json();if(r.step){
const m=Math.floor(r.left/60),s=Math.floor(r.left%60);
document.getElementById("head").innerHTML=[["step",r.step+" of "+r.steps],["left",m+" min "+s+" s"],["guard",r.state],["energy error",(100*r.hsem).toFixed(2)+" %"]].map(v=>`<div>${v[0]}<b${v[0]=="guard"&&v[1]!="ready"?' class="bad"':""}>${v[1]}</b></div>`).join("");
document.getElementById("title").textContent=r.step==r.steps?"Hybrid test: the motion is over":"Hybrid test under way";
document.getElementById("limits").innerHTML=Object.entries(r.shares).map(([k,v])=>`<div class="limit"><span>${k}</span><div><i class="${v>.85?"near":""}" style="width:${Math.min(100,100*v)}%"></i></div>${(100*v).toFixed(0)} %</div>`).join("");
const h=r.history,t=h.map(v=>v[0]);
draw("u",[{x:t,y:h.map(v=>v[2]*1e3),c:ink,w:4},{x:t,y:h.map(v=>v[1]*1e3),c:"#fffdf8",w:1.2}],"step");
draw("e",[{x:t,y:h.map(v=>(v[2]-v[1])*1e3),c:ink,w:1}],"step");
draw("l",[{x:h.map(v=>v[2]*1e3),y:h.map(v=>v[3]/1e3),c:ink,w:1.5}],"mm");
draw("h",[{x:t,y:h.map(v=>v[4]*100),c:ink,w:1.2}],"step")}}
catch(e){document.getElementById("title").textContent="Hybrid test: this page has lost the solver"}setTimeout(ask,500)}ask()
</script></html>""".replace("@CAUTION@", CAUTION)


class Page:
    """A view for `HybridTest` that serves a page at `url`; loopback only, read only. The first freedom is plotted."""

    def __init__(self, host: str = "127.0.0.1", port: int = 0, keep: int = 4000) -> None:
        if not is_loopback(host):
            raise InputError(
                f"address of the live page is {host!r}; allowed: loopback, as the page has no password"
            )
        self._last: Progress | None = None
        self._history: deque[list[float]] = deque(maxlen=keep)
        page = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                if self.path in ("/", "/index.html"):
                    body, kind = PAGE.encode(), "text/html; charset=utf-8"
                elif self.path == "/state.json":
                    body, kind = json.dumps(page.state()).encode(), "application/json"
                else:
                    self.send_error(404)
                    return
                self.send_response(200)
                self.send_header("Content-Type", kind)
                self.send_header("Content-Length", str(len(body)))
                self.send_header("Cache-Control", "no-store")
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, format: str, *args: Any) -> None:
                """Quiet."""

        self._server = ThreadingHTTPServer((host, port), Handler)
        self._server.daemon_threads = True
        address = self._server.server_address
        self.url = f"http://{address[0]!s}:{address[1]}/"
        self._thread = threading.Thread(target=self._server.serve_forever, name="live page", daemon=True)
        self._thread.start()

    def __call__(self, progress: Progress) -> None:
        self._last = progress
        p = progress
        row = [p.step, p.target[0], p.reading.displacement[0], p.reading.force[0], p.hsem]
        self._history.append([float(value) for value in row])

    def state(self) -> dict[str, Any]:
        """What the page asks for."""
        p = self._last
        if p is None:
            return {"step": 0}
        history = list(self._history)
        stride = max(1, len(history) // 1500)
        return {
            "step": p.step,
            "steps": p.steps,
            "left": p.seconds_left,
            "state": p.state,
            "hsem": p.hsem,
            "shares": {name: float(np.round(share, 4)) for name, share in p.shares.items()},
            "history": history[::stride],
        }

    def close(self) -> None:
        """Stop serving."""
        self._server.shutdown()
        self._server.server_close()
